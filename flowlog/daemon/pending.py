"""What waits for the store, in order, within bounds."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from flowlog.monitor.outputs import Reading
from flowlog.monitor.stream import StreamItem
from flowlog.store.rows import (
    Batch,
    CalibrationRow,
    ClockPoint,
    CorrectionRow,
    EventRow,
    OutboxMessage,
    RecordRow,
    SeenRow,
    StopMark,
    StreamMark,
)
from flowlog.wire.samples import Samples

MOST_SAMPLES: Final = 12 * 36_000
"""Twelve hours at ten samples a second, about 40 MB: a day's work fits before anything goes."""
ONE_COMMIT: Final = 20_000
"""Samples put into one transaction after an outage, so that no commit takes long."""


@dataclass(slots=True, eq=False)
class Route:
    """A route as the daemon holds it; its row may not exist yet while the store fails."""

    uid: str
    began_wall_us: int
    id: int | None = None
    name: str | None = None
    next_ordinal: int = 0
    next_mark: int = 0
    calibration_ids: tuple[int, ...] = ()
    """What it is watched with; kept with its row."""


@dataclass(slots=True)
class Piece:
    """Something of one route that must become durable together."""

    route: Route
    stream: list[StreamItem] = field(default_factory=list)
    readings: list[tuple[Reading, int]] = field(default_factory=list)
    events: list[EventRow] = field(default_factory=list)
    clock: list[ClockPoint] = field(default_factory=list)
    stops: list[StopMark] = field(default_factory=list)
    outbox: list[OutboxMessage] = field(default_factory=list)
    records: list[RecordRow] = field(default_factory=list)
    """Application records, of whatever route."""
    calibrations: list[CalibrationRow] = field(default_factory=list)
    corrections: list[CorrectionRow] = field(default_factory=list)
    """Of whatever route."""
    seen: list[SeenRow] = field(default_factory=list)
    marks: list[Path] = field(default_factory=list)
    """Files of the inbox to delete afterwards."""

    @property
    def samples(self) -> int:
        return sum(len(item) for item in self.stream if isinstance(item, Samples))

    @property
    def urgent(self) -> bool:
        """An alert or a mark must not wait for the next second."""
        return bool(self.events or self.outbox or self.stops or self.marks)

    def add(self, other: Piece) -> None:
        """Put a later piece of the same route behind this one."""
        self.stream += other.stream
        self.readings += other.readings
        self.events += other.events
        self.clock += other.clock
        self.stops += other.stops
        self.outbox += other.outbox
        self.records += other.records
        self.calibrations += other.calibrations
        self.corrections += other.corrections
        self.seen += other.seen
        self.marks += other.marks

    def without_bulk(self) -> Piece:
        """The same without samples and readings: what is kept when space is short."""
        kept: list[StreamItem] = [item for item in self.stream if not isinstance(item, Samples)]
        return Piece(
            self.route,
            kept,
            [],
            self.events,
            self.clock,
            self.stops,
            self.outbox,
            self.records,
            self.calibrations,
            self.corrections,
            self.seen,
            self.marks,
        )

    def batch(self, run_id: int, acknowledged: Sequence[int]) -> Batch:
        """As the store wants it, numbered on from what the route holds already."""
        ordinal, number = self.route.next_ordinal, self.route.next_mark
        blocks: list[Samples] = []
        marks: list[StreamMark] = []
        for item in self.stream:
            if isinstance(item, Samples):
                blocks.append(item)
                ordinal += len(item)
            else:
                marks.append(StreamMark(number, ordinal, item))
                number += 1
        return Batch(
            route_id=self.route.id,
            first_ordinal=self.route.next_ordinal,
            samples=Samples.join(blocks),
            items=marks,
            readings=self.readings,
            events=self.events,
            clock=[
                ClockPoint(p.segment, p.t_us, p.wall_us, p.monotonic_us, run_id) for p in self.clock
            ],
            stops=self.stops,
            outbox=self.outbox,
            records=self.records,
            calibrations=self.calibrations,
            corrections=self.corrections,
            seen=self.seen,
            acknowledged=list(acknowledged),
        )

    def committed(self) -> None:
        """The batch is in the store: count on."""
        for item in self.stream:
            if isinstance(item, Samples):
                self.route.next_ordinal += len(item)
            else:
                self.route.next_mark += 1


@dataclass(frozen=True, slots=True)
class EndRoute:
    route: Route
    wall_us: int


@dataclass(frozen=True, slots=True)
class ShiftWall:
    """The host's clock was set by so much: correct what this power-up has stored."""

    step_us: int
    at_monotonic_us: int
    """When it was seen; makes a second try of the same correction harmless."""


Work = Piece | EndRoute | ShiftWall


class Pending:
    """A queue of work for the store, oldest first. Not thread-safe: the writer owns it.

    Work stays in the queue until `done` says that the store has it.
    """

    def __init__(self, most_samples: int = MOST_SAMPLES) -> None:
        self._queue: deque[Work] = deque()
        self._most = most_samples
        self._taken = 0
        self.samples = 0
        self.dropped = 0
        """Samples dropped since the start because the store failed for too long."""

    def __len__(self) -> int:
        return len(self._queue)

    def add(self, work: Work) -> int:
        """Put work at the end. Returns how many samples had to be dropped for it.

        Samples and readings go first, oldest first; events, marks and messages are small and
        are never dropped.
        """
        self._queue.append(work)
        if isinstance(work, Piece):
            self.samples += work.samples
        dropped = 0
        if self.samples > self._most:
            # A tenth at once: dropping a block with each new one would walk the queue each time.
            dropped = self._drop(self.samples - self._most * 9 // 10)
        return dropped

    def _drop(self, samples: int) -> int:
        dropped = 0
        for index, work in enumerate(self._queue):
            if dropped >= samples:
                break
            if isinstance(work, Piece) and (count := work.samples):
                self._queue[index] = work.without_bulk()
                dropped += count
        self.samples -= dropped
        self.dropped += dropped
        return dropped

    def strip(self) -> int:
        """Drop all samples and readings that wait: there is no space for them. Their number."""
        return self._drop(self.samples)

    def take(self, most_samples: int = ONE_COMMIT) -> Work | None:
        """The oldest work; pieces of the same route behind one another become one piece."""
        self._taken = 0
        if not self._queue:
            return None
        first = self._queue[0]
        self._taken = 1
        if not isinstance(first, Piece):
            return first
        merged = Piece(first.route)
        merged.add(first)
        samples = first.samples
        for index in range(1, len(self._queue)):
            work = self._queue[index]
            if not isinstance(work, Piece) or work.route is not first.route:
                break
            samples += work.samples
            if samples > most_samples:
                break
            merged.add(work)
            self._taken += 1
        return merged

    def done(self) -> None:
        """What `take` gave last is in the store."""
        for _ in range(self._taken):
            work = self._queue.popleft()
            if isinstance(work, Piece):
                self.samples -= work.samples
        self._taken = 0

    def pieces(self) -> list[Piece]:
        """The pieces that wait, oldest first."""
        return [work for work in self._queue if isinstance(work, Piece)]

    def withdraw(self, key: str) -> None:
        """A message was delivered past the store: it need not go out again."""
        for work in self._queue:
            if isinstance(work, Piece):
                work.outbox = [message for message in work.outbox if message.key != key]
