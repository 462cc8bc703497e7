"""A recording or a stored route through the monitor again, as fast as it goes."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

from flowlog.link.recording import read_recording
from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stops import timeline
from flowlog.monitor.stream import StreamItem, joined
from flowlog.monitor.summary import columns_of
from flowlog.review.route import RouteReview, review_route
from flowlog.rig.model import HealthyBoom, Rig
from flowlog.store.rows import EventRow, RouteRow
from flowlog.wire.decode import Decoder
from flowlog.wire.samples import Samples


@dataclass(slots=True)
class Replayed:
    """What came out, and how fast."""

    readings: list[Reading] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    samples: int = 0
    took_s: float = 0.0
    """Computing time: decoding and monitoring, without what was printed meanwhile."""
    lines: dict[str, int] = field(default_factory=dict)
    """What the decoder counted; empty for a stored route."""

    @property
    def samples_per_s(self) -> float:
        return self.samples / self.took_s if self.took_s > 0 else 0.0

    @property
    def board_s(self) -> float:
        """Board time that was replayed."""
        return float(sum(reading.seconds for reading in self.readings))


class Elapsed:
    """Seconds since the beginning of the stream; segments follow one another without a pause."""

    def __init__(self) -> None:
        self._segment = -1
        self._begin_s = 0.0
        self._first_us = 0
        self._last_us = 0

    def reading(self, reading: Reading) -> None:
        """Take the next reading into account."""
        at = reading.at
        if at.segment != self._segment:
            self._begin_s = self.of(Position(self._segment, 0, self._last_us))
            self._segment = at.segment
            self._first_us = at.t_us - round(reading.seconds * 1e6)
        self._last_us = at.t_us

    def of(self, at: Position) -> float:
        """Of a position in the newest segment; one in an older one counts as its end."""
        if at.segment < self._segment or self._segment < 0:
            return self._begin_s
        return self._begin_s + max(0.0, (at.t_us - self._first_us) / 1e6)


def recorded_items(path: Path, replayed: Replayed) -> tuple[dict[str, str], Iterator[StreamItem]]:
    """The header of a recording and what its bytes decode to.

    Raises:
        RecordingError: it cannot be read; the iterator raises it too.
    """
    header, chunks = read_recording(path)

    def items() -> Iterator[StreamItem]:
        decoder = Decoder()
        for chunk in chunks:
            yield from decoder.feed(chunk).items
        replayed.lines = asdict(decoder.counts)

    return header, items()


def replay(
    items: Iterable[StreamItem],
    rig: Rig,
    replayed: Replayed,
    said: Callable[[Event, float], None] | None = None,
    baseline: HealthyBoom | None = None,
) -> Replayed:
    """Run a stream through a new monitor.

    Args:
        items: the stream from its beginning.
        rig: the rig to judge it by.
        replayed: is filled and returned.
        said: called with each event and its seconds since the beginning.
        baseline: what the rig's boom passes when healthy, if that was calibrated.
    """
    monitor, elapsed = Monitor(rig, baseline), Elapsed()
    stream = joined(items)
    ended = False
    while not ended:
        begun_s = time.perf_counter()
        item = next(stream, None)
        ended = item is None
        output = monitor.finish() if item is None else monitor.feed(item)
        if isinstance(item, Samples):
            replayed.samples += len(item)
        replayed.took_s += time.perf_counter() - begun_s
        waiting = list(output.events)
        for reading in output.readings:
            while waiting and _before(waiting[0].at, reading.at):
                _tell(waiting.pop(0), elapsed, said)
            elapsed.reading(reading)
        for event in waiting:
            _tell(event, elapsed, said)
        replayed.readings += output.readings
        replayed.events += output.events
    return replayed


def _before(one: Position, other: Position) -> bool:
    return (one.segment, one.t_us) < (other.segment, other.t_us)


def _tell(event: Event, elapsed: Elapsed, said: Callable[[Event, float], None] | None) -> None:
    if said is not None:
        said(event, elapsed.of(event.at))


def review_replayed(replayed: Replayed, rig: Rig, began_us: int) -> RouteReview:
    """The replay summed up as a route would be.

    Args:
        began_us: wall time of its beginning; 0 if nobody knows.
    """
    columns = dict(columns_of(replayed.readings))
    columns["wall_us"] = began_us + np.rint(timeline(columns) * 1e6).astype(np.int64)
    route = RouteRow(0, "replay", None, began_us, began_us, "")
    rows = [
        EventRow(event, began_us, began_us, "monitor", f"replay:{number}")
        for number, event in enumerate(replayed.events)
    ]
    return review_route(0, route, rig, columns, rows, [])
