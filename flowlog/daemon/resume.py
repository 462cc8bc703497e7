"""What to go on with after a start: a restart is a replay."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path

from flowlog.daemon.calibrated import Calibrations
from flowlog.daemon.clock import Clock, Stamp
from flowlog.daemon.leftover import Leftover, stored_leftover
from flowlog.daemon.pending import EndRoute, Piece, Route, Work
from flowlog.daemon.session import Session
from flowlog.daemon.timekeeping import STEP_US
from flowlog.daemon.watch import Resumed, new_session
from flowlog.daemon.writer import Opened, Store
from flowlog.errors import FlowlogError
from flowlog.monitor.outputs import Event, Position
from flowlog.rig.reader import parse_rig
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreError
from flowlog.store.redact import blank_passwords, fingerprint
from flowlog.store.rows import EventRow, RouteRow

log = logging.getLogger(__name__)


def resume(
    opened: Opened | None,
    folder: Path,
    rig_text: str,
    stamp: Stamp,
    slug: str,
    put: Callable[[Work], None],
    calibrations: Calibrations,
) -> Resumed:
    """Go on with the open route if it is young enough; else end it and begin a new one.

    Without a store a new route begins, which gets its row when the store comes.
    """
    row = opened.open_route if opened else None
    if opened is not None and row is not None and opened.tally is not None:
        route = Route(
            row.uid,
            row.began_wall_us,
            id=row.id,
            name=row.name,
            next_ordinal=opened.tally.next_ordinal,
            next_mark=opened.tally.next_mark,
        )
        try:
            if not _says_the_same(folder, row, blank_passwords(rig_text)):
                # Its readings were made with another calibration: a replay would not fit them.
                put(EndRoute(route, _last_wall_us(folder, row)))
                log.info("the rig file has changed: the open route ends, a new one begins")
                return _anew(stamp, calibrations, stored_leftover(folder, slug, stamp.wall_us))
            found = _go_on(route, row, folder, stamp, put, calibrations)
        except StoreError as error:
            # Unreadable does not mean that it will not be written: begin anew and leave it.
            log.warning("the open route cannot be read, a new one begins: %s", error)
            put(EndRoute(route, stamp.wall_us))
        except Exception:
            # A replay that fails would fail at each start: what is stored stays, work goes on.
            log.exception("the open route cannot be replayed, a new one begins")
            put(EndRoute(route, stamp.wall_us))
        else:
            if isinstance(found, Resumed):
                return found
            return _anew(stamp, calibrations, found)
    known = None if opened is None else stored_leftover(folder, slug, stamp.wall_us)
    return _anew(stamp, calibrations, known)


def _says_the_same(folder: Path, row: RouteRow, text: str) -> bool:
    """Whether the rig file describes the rig that the route began with, in whatever words.

    Args:
        text: the rig file as it stands, its passwords blanked as those of the stored one are.
    """
    if row.rig_sha256 == fingerprint(text):
        return True
    with Archive.open(folder) as archive:
        stored = archive.rig_file(row.rig_sha256).text
    where = folder / "rig.toml"
    try:
        # Neither with the environment: what it adds to them is the same for both.
        same = parse_rig(stored, where, {}) == parse_rig(text, where, {})
    except FlowlogError as error:
        log.info("the rig file of the open route cannot be read any more: %s", error)
        return False
    if same:
        log.info("the rig file was edited and says the same: the open route goes on")
    return same


def _anew(stamp: Stamp, calibrations: Calibrations, leftover: Leftover | None) -> Resumed:
    session = new_session(calibrations.newest(), stamp)
    return Resumed(session, begins=True, leftover=leftover)


def _last_wall_us(folder: Path, row: RouteRow) -> int:
    with Archive.open(folder) as archive:
        latest = archive.latest()
    return latest.wall_us if latest and latest.route.id == row.id else row.began_wall_us


def _go_on(
    route: Route,
    row: RouteRow,
    folder: Path,
    stamp: Stamp,
    put: Callable[[Work], None],
    calibrations: Calibrations,
) -> Resumed | Leftover | None:
    """The route with its past; or, if it is over, ends it and says what is left in the tank."""
    in_use = calibrations.of_route(row.id, stamp.monotonic_us)
    route.calibration_ids = in_use.ids
    session = Session(in_use.rig, route, in_use.baseline)
    with Archive.open(folder) as archive:
        latest = archive.latest()
        last = latest if latest is not None and latest.route.id == row.id else None
        stored = archive.events(row.id)
        last_wall_us = last.wall_us if last else row.began_wall_us
        young = session.keeper.continues(last_wall_us, stamp.wall_us)
        until = last.reading.at if last else None
        events, new = session.replay(
            (item for _, item in archive.stream(row.id)), {event.uid for event in stored}, until
        )
    if new:
        put(Piece(route, events=[_late(event, uid, last_wall_us) for event, uid in new]))
    past = [event.event for event in stored if event.source == "daemon"]
    for event in past:
        session.uid(event)
    if young and not session.keeper.over(stamp.monotonic_us):
        log.info("going on with the open route, %d samples replayed", session.samples)
        return Resumed(session, past, events)
    _close(session, route, until, last_wall_us, put)
    return session.leftover(stamp.monotonic_us)


def _close(
    session: Session,
    route: Route,
    until: Position | None,
    last_wall_us: int,
    put: Callable[[Work], None],
) -> None:
    """End a route that the daemon was not there to end: its last second is still open."""
    out = session.finish()
    piece = Piece(route)
    for reading in out.readings:
        last_wall_us += int(reading.seconds * 1e6)
        piece.readings.append((reading, last_wall_us))
    for event in out.events:
        piece.events.append(_late(event, session.uid(event), last_wall_us))
    put(piece)
    put(EndRoute(route, last_wall_us))
    log.info("the last route has ended, a new one begins")


def _late(event: Event, uid: str, wall_us: int) -> EventRow:
    return EventRow(event, wall_us, wall_us, "monitor", uid)


def catch_up(store: Store, folder: Path, clock: Clock) -> None:
    """Correct what this power-up has stored if the clock was set while no daemon ran.

    Call before the new run begins, whose times are right already.
    """
    now, boot = clock.now(), clock.host_boot()
    with Archive.open(folder) as archive:
        runs = [run for run in archive.runs() if run.host_boot == boot]
    if not runs:
        return
    step_us = now.offset_us - (runs[-1].began_wall_us - runs[-1].began_monotonic_us)
    if abs(step_us) >= STEP_US:
        store.shift_wall(boot, step_us, now.monotonic_us)
        log.info("the clock was set by %.1f s while no daemon ran: corrected", step_us / 1e6)
