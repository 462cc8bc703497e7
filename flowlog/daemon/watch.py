"""What becomes of the bytes: the pipeline thread's work, without threads of its own.

Chunks in; pieces for the store, readings for the broker, patterns for the board, lines for the
log out. The service calls `take` for each chunk and `look` a few times a second.
"""

from __future__ import annotations

import dataclasses
import logging
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from flowlog import __version__
from flowlog.calibrating.inuse import InUse
from flowlog.daemon import inbox
from flowlog.daemon.alarm import Alarm, Pattern
from flowlog.daemon.announce import Announcer, faults_of
from flowlog.daemon.calibrated import Calibrations
from flowlog.daemon.clock import Clock, Quality, Stamp, quality
from flowlog.daemon.health import Facts, Health, assess
from flowlog.daemon.left_calibrations import understand_calibration, waiting_calibrations
from flowlog.daemon.left_corrections import understand_correction, waiting_corrections
from flowlog.daemon.left_records import understand_record, waiting_records
from flowlog.daemon.left_seen import understand_seen, waiting_seen
from flowlog.daemon.leftover import Leftover, carried, words
from flowlog.daemon.letterbox import MarkError, set_aside
from flowlog.daemon.ownalerts import OwnAlerts
from flowlog.daemon.pending import EndRoute, Piece, Route, ShiftWall, Work
from flowlog.daemon.session import Session
from flowlog.daemon.telling import conditions, log_event, sentence, set_by
from flowlog.daemon.timekeeping import Timekeeper
from flowlog.monitor.outputs import Event, Output, Phase, Position
from flowlog.monitor.stream import TankFill
from flowlog.publish import messages
from flowlog.publish.interface import AnyPublisher
from flowlog.rig.model import Rig
from flowlog.store.rows import (
    CalibrationRow,
    ClockPoint,
    EventRow,
    RecordRow,
    SeenRow,
    Source,
    StopMark,
)
from flowlog.wire.decode import Decoder
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

log = logging.getLogger(__name__)

CLOCK_POINT_US: Final = 60_000_000
INBOX_US: Final = 1_000_000
STATUS_US: Final = 60_000_000
_SYNC_US: Final = 10_000_000


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes as they came from the port, with the moment of their arrival."""

    data: bytes
    stamp: Stamp


@dataclass(slots=True)
class Resumed:
    """The route to work on, and what is known of it."""

    session: Session
    past: list[Event] = field(default_factory=list)
    """The daemon's own events that are stored of the route."""
    replayed: list[Event] = field(default_factory=list)
    """The pipeline's."""
    begins: bool = False
    """It has no past: it begins now."""
    leftover: Leftover | None = None
    """For a route that begins: what is known to be in the tank."""


class Watch:
    """See the module. Only the pipeline's thread calls it.

    Args:
        put: takes work for the store, in order.
        calibrations: which ones the next route is watched with.
        resumed: the route to go on with, or to begin.
    """

    def __init__(
        self,
        rig: Rig,
        folder: Path,
        clock: Clock,
        facts: Facts,
        put: Callable[[Work], None],
        publisher: AnyPublisher,
        resumed: Resumed,
        announcer: Announcer | None,
        calibrations: Calibrations,
    ) -> None:
        self._rig = rig
        self._folder = folder
        self._clock = clock
        self._facts = facts
        self._put = put
        self._publisher = publisher
        self._announcer = announcer
        self._calibrations = calibrations
        self._decoder = Decoder()
        now = clock.now()
        self._time = Timekeeper(now)
        self._synchronised = clock.synchronised()
        self._sync_us = now.monotonic_us
        self._session = resumed.session
        self._own = OwnAlerts(resumed.past)
        self._alarm = Alarm()
        self._open: dict[str, Event] = {}
        for event in (*resumed.past, *resumed.replayed):
            self._alarm.take(event, now.monotonic_us, replayed=True)
            self._follow(event)
        self._phase: Phase | None = None
        self._segment: int | None = None
        self._clock_point_us = 0
        self._inbox_us = 0
        self._refused: set[str] = set()
        self._on_the_way: set[str] = set()
        self._status: tuple[object, ...] = ()
        self._status_us = 0
        self._last_row: tuple[int, int] | None = None
        self.health: Health = assess(facts, now.monotonic_us)
        if resumed.begins:
            self._put(self._begun(resumed.leftover, now))

    @property
    def route(self) -> Route:
        return self._session.route

    def quality(self) -> Quality:
        return quality(self._clock.now().wall_us, self._synchronised)

    # Bytes.

    def take(self, chunk: Chunk) -> None:
        """Bytes came from the board."""
        piece = Piece(self._session.route)
        self._host(chunk.stamp, piece)
        decoded = self._decoder.feed(chunk.data)
        for fault in decoded.faults:
            log.debug("line dropped: %s: %r", fault.text, fault.line)
        for item in decoded.items:
            if isinstance(item, Samples):
                last = item.table[-1]
                self._last_row = (int(last[0]), int(last[1]))
                self._time.arrived(int(last[0]), int(last[2]), chunk.stamp)
                self._facts.sample_us = chunk.stamp.monotonic_us
            else:
                # A board says hello when it starts: it shows no pattern then.
                self._alarm.forget()
                self._greet(item)
            piece.stream.append(item)
            try:
                out = self._session.feed(item)
            except Exception:
                # A fault of ours must not end the logging: what came is stored all the same.
                log.exception("the monitor failed; the route ends here and it begins anew")
                self._begin_anew(piece, chunk.stamp)
                piece = Piece(self._session.route)
            else:
                self._outputs(out, piece, chunk.stamp)
        self._hand_over(piece)

    def _greet(self, hello: Hello) -> None:
        known = self._session.hello
        if known is None or (known.boot, known.board) != (hello.boot, hello.board):
            log.info(
                "board %s says hello: firmware %s, started by %s",
                hello.board,
                hello.firmware,
                hello.reset,
            )

    def _begin_anew(self, piece: Piece, stamp: Stamp) -> None:
        text = "The monitor failed on what the board sent and began anew; the samples are stored."
        note = self._own.note("monitor_failed", text, self._session.last)
        self._say(note, "daemon", piece, stamp.wall_us)
        self._hand_over(piece)
        self._put(EndRoute(self._session.route, stamp.wall_us))
        self._next_session()

    def reconnected(self) -> None:
        """The port was opened: what follows is not the rest of the line that was begun."""
        self._decoder.drop_partial()
        self._alarm.forget()

    def _host(self, stamp: Stamp, piece: Piece) -> None:
        step_us = self._time.host(stamp)
        if not step_us:
            return
        # Everything that was put before was stored by the old clock, all that follows by the new.
        self._put(ShiftWall(step_us, stamp.monotonic_us))
        self._session.keeper.stepped(step_us / 1e6)
        self._synchronised = self._clock.synchronised()
        text = (
            f"The computer's clock was set {set_by(step_us)}; "
            "the times since its start are corrected, durations never used it."
        )
        note = self._own.note("clock_set", text, self._session.last, step_us / 1e6, "s")
        self._say(note, "daemon", piece, stamp.wall_us)
        self._clock_point_us = 0

    def _outputs(self, out: Output, piece: Piece, stamp: Stamp) -> None:
        for reading in out.readings:
            self._time.settle(reading.at)
            wall_us = self._time.wall_us(reading.at)
            piece.readings.append((reading, wall_us))
            self._session.keeper.reading(reading, self._time.monotonic_us(reading.at))
            self._phase = reading.phase
            self._note_clock(reading.at, piece, stamp)
            if self._publisher.enabled:
                kind = quality(stamp.wall_us, self._synchronised)
                self._publisher.publish_reading(
                    messages.reading(
                        reading,
                        rig=self._rig.slug,
                        route=self._session.route.uid,
                        wall_us=None if kind == "none" else wall_us,
                        clock=kind,
                    )
                )
        for event in out.events:
            self._time.settle(event.at)
            self._say(event, "monitor", piece, self._time.wall_us(event.at))

    def _note_clock(self, at: Position, piece: Piece, stamp: Stamp) -> None:
        """Store now and then how the board's clock stands beside the host's."""
        due = stamp.monotonic_us - self._clock_point_us >= CLOCK_POINT_US
        if due or at.segment != self._segment:
            self._segment, self._clock_point_us = at.segment, stamp.monotonic_us
            piece.clock.append(
                ClockPoint(
                    at.segment,
                    at.t_us,
                    self._time.wall_us(at),
                    self._time.monotonic_us(at),
                    run_id=0,
                )
            )

    # Events of both sources.

    def _say(self, event: Event, source: Source, piece: Piece, wall_us: int) -> None:
        since_us = wall_us if event.since == event.at else self._time.wall_us(event.since)
        row = EventRow(event, wall_us, since_us, source, self._session.uid(event))
        piece.events.append(row)
        if self._announcer is not None:
            piece.outbox.append(self._announcer.event(row, self._session.route, self.quality()))
        self._alarm.take(event, self._clock.now().monotonic_us)
        self._follow(event)
        log_event(event)

    def _follow(self, event: Event) -> None:
        if event.change == "cleared":
            self._open.pop(event.alert, None)
        elif event.change != "noted":
            self._open[event.alert] = event

    def _hand_over(self, piece: Piece) -> None:
        if piece.stream or piece.readings or piece.urgent or piece.clock:
            self._put(piece)

    # What is due now and then.

    def look(self) -> None:
        """See how everything stands; call a few times a second."""
        stamp = self._clock.now()
        now_us = stamp.monotonic_us
        piece = Piece(self._session.route)
        self._host(stamp, piece)
        if now_us - self._sync_us >= _SYNC_US:
            self._sync_us, self._synchronised = now_us, self._clock.synchronised()
        if self._publisher.enabled:
            state = self._publisher.state()
            self._facts.broker_used = True
            self._facts.broker_connected = state.connected
            self._facts.broker_fault = "" if state.connected else state.sentence
        self.health = assess(self._facts, now_us)
        self._own_alerts(stamp, piece)
        if now_us - self._inbox_us >= INBOX_US:
            self._inbox_us = now_us
            self._marks(stamp, piece)
        self._hand_over(piece)
        self._tell_status(stamp)
        if self._session.keeper.over(now_us):
            self.next_route()
        elif self._calibrations.due(now_us, self._phase):
            log.info("the rig was calibrated: a new route begins, watched with that")
            self.next_route()

    def _own_alerts(self, stamp: Stamp, piece: Piece) -> None:
        now_us, last = stamp.monotonic_us, self._session.last
        for code, holds, text, cleared in conditions(self._facts, self.health, now_us):
            event = self._own.see(code, holds, text, cleared, last, now_us)
            if event is not None:
                self._say(event, "daemon", piece, stamp.wall_us)
        while self._facts.raw_deleted:
            note = self._own.note("raw_deleted", self._facts.raw_deleted.popleft(), last)
            self._say(note, "daemon", piece, stamp.wall_us)

    def _marks(self, stamp: Stamp, piece: Piece) -> None:
        for path in inbox.waiting(self._folder):
            self._take(
                path, lambda at: self._mark(inbox.understand(at), piece, stamp), piece, stamp
            )
        for path in waiting_calibrations(self._folder):
            self._take(
                path,
                lambda at: self._calibration(understand_calibration(at), piece, stamp),
                piece,
                stamp,
            )
        for path in waiting_records(self._folder):
            self._take(path, lambda at: self._record(understand_record(at), piece), piece, stamp)
        for path in waiting_corrections(self._folder):
            self._take(path, lambda at: self._correction(at, piece), piece, stamp)
        for path in waiting_seen(self._folder):
            self._take(path, lambda at: self._seen(understand_seen(at), piece), piece, stamp)

    def _take(self, path: Path, take: Callable[[Path], None], piece: Piece, stamp: Stamp) -> None:
        if path.name in self._refused or path.name in self._on_the_way:
            return
        try:
            take(path)
        except MarkError as error:
            self._refused.add(path.name)
            set_aside(path)
            text = sentence(f"a mark was not understood and set aside: {error}")
            note = self._own.note("mark_refused", text, self._session.last)
            self._say(note, "daemon", piece, stamp.wall_us)
            return
        # Until the store has it, the file stays: a second look must not take it again.
        self._on_the_way.add(path.name)
        piece.marks.append(path)

    def _calibration(self, row: CalibrationRow, piece: Piece, stamp: Stamp) -> None:
        piece.calibrations.append(row)
        self._calibrations.came(stamp.monotonic_us)
        log.info("the %s was calibrated by %s", row.kind, row.made_by)

    def _record(self, row: RecordRow, piece: Piece) -> None:
        piece.records.append(row)
        log.info("an application record was added")

    def _correction(self, path: Path, piece: Piece) -> None:
        row = understand_correction(path)
        piece.corrections.append(row)
        log.info("a route was corrected (%s) by %s", row.kind, row.made_by)

    def _seen(self, row: SeenRow, piece: Piece) -> None:
        piece.seen.append(row)
        if row.route_uid == self._session.route.uid:
            self._alarm.seen(row.alert)
        log.info("somebody has seen the alert %s", row.alert)

    def _mark(self, mark: inbox.Mark, piece: Piece, stamp: Stamp) -> None:
        last = self._session.last
        if mark.what == "stop":
            piece.stops.append(
                StopMark(
                    mark.name,
                    mark.kind,
                    mark.wall_us,
                    last.segment,
                    last.t_us,
                    mark.uid,
                    mark.area_m2,
                )
            )
            log.info("stop %s%s", mark.kind, f": {mark.name}" if mark.name else "")
            return
        volume_m3 = mark.volume_m3
        if volume_m3 is None:
            if self._rig.tank is None:
                raise MarkError("a fill without a volume, and the rig file has no [tank]")
            volume_m3 = self._rig.tank.volume_m3
        fill = TankFill(volume_m3)
        piece.stream.append(fill)
        self._outputs(self._session.feed(fill), piece, stamp)
        log.info("the tank holds %.1f L now", volume_m3 * 1000)

    def _tell_status(self, stamp: Stamp) -> None:
        if not self._publisher.enabled:
            return
        health = self.health
        kind = quality(stamp.wall_us, self._synchronised)
        alerts = [(event.code, event.text) for event in self._open.values()]
        parts = (health.link, health.data, health.store)
        states = tuple(part.state for part in parts)
        shown = (self._session.route.uid, self._phase, kind, states, tuple(alerts))
        if shown == self._status and stamp.monotonic_us - self._status_us < STATUS_US:
            return
        self._status, self._status_us = shown, stamp.monotonic_us
        fresh = health.data.state == "fresh"
        self._publisher.set_status(
            messages.status(
                rig=self._rig.slug,
                version=__version__,
                wall_us=None if kind == "none" else stamp.wall_us,
                clock=kind,
                route=self._session.route.uid,
                phase=self._phase if fresh else None,
                board="connected" if fresh else "away",
                open_alerts=alerts,
                faults=faults_of((part.state, part.detail) for part in parts),
            )
        )

    def pattern_due(self) -> Pattern | None:
        """What lamp and buzzer should be told now, if anything."""
        return self._alarm.due(self._clock.now().monotonic_us)

    def pattern_sent(self, pattern: Pattern) -> None:
        self._alarm.sent(pattern, self._clock.now().monotonic_us)

    # The end of a route.

    def end_route(self) -> None:
        """End the route that is in work."""
        stamp = self._clock.now()
        piece = Piece(self._session.route)
        self._outputs(self._session.finish(), piece, stamp)
        self._hand_over(piece)
        self._put(EndRoute(self._session.route, stamp.wall_us))
        log.info("the route has ended")

    def next_route(self) -> None:
        """End the route and begin the next one, in which nothing has happened yet."""
        self.end_route()
        self._next_session()

    def _next_session(self) -> None:
        hello, boot_seq = self._session.hello, self._last_row
        stamp = self._clock.now()
        leftover = self._session.leftover(stamp.monotonic_us)
        self._session = new_session(self._calibrations.newest(), stamp)
        self._own = OwnAlerts()
        self._alarm.new_route()
        self._open.clear()
        self._time.new_route()
        self._segment = None
        piece = self._begun(leftover, stamp)
        if hello is not None and boot_seq is not None and boot_seq[0] == hello.boot:
            # The board does not know of routes and says hello once a minute only; without its
            # hello the pressure is not judged.
            self._repeat_hello(hello, boot_seq[1], piece, stamp)
        self._put(piece)

    def _begun(self, leftover: Leftover | None, stamp: Stamp) -> Piece:
        """The first piece of a new route: makes its row, tells the broker, and says in the route's
        stream what was left in the tank, so that a replay counts from there too."""
        piece = Piece(self._session.route)
        if self._announcer is not None:
            piece.outbox.append(self._announcer.route_began(self._session.route, self.quality()))
        fill = carried(self._rig, leftover)
        if fill is not None:
            piece.stream.append(fill)
            self._outputs(self._session.feed(fill), piece, stamp)
            text = words(self._rig, fill)
            note = self._own.note("tank_carried", text, self._session.last, fill.volume_m3, "m3")
            self._say(note, "daemon", piece, stamp.wall_us)
        return piece

    def _repeat_hello(self, hello: Hello, last_seq: int, piece: Piece, stamp: Stamp) -> None:
        again = dataclasses.replace(hello, seq=(last_seq + 1) % 2**32)
        piece.stream.append(again)
        self._outputs(self._session.feed(again), piece, stamp)


def new_route(stamp: Stamp) -> Route:
    """A route that begins now. Its uid needs no store, so that it can begin without one."""
    return Route(uid=uuid.uuid4().hex, began_wall_us=stamp.wall_us)


def new_session(in_use: InUse, stamp: Stamp) -> Session:
    """A route that begins now, watched with these calibrations."""
    route = new_route(stamp)
    route.calibration_ids = in_use.ids
    return Session(in_use.rig, route, in_use.baseline)
