"""A stream through a new monitor, and what its judgement of the boom rested on, tick by tick."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import exp, nan
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.evidence import Evidence, Test
from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stops import Columns
from flowlog.monitor.stream import StreamItem
from flowlog.monitor.summary import columns_of
from flowlog.rig.model import HealthyBoom, Rig
from flowlog.wire.samples import Samples

Floats = NDArray[np.float64]
Said = Callable[[int], None]
"""Told how many samples went through."""

_BLOCK: Final = 20_000
"""Readings that are turned into columns at once: as objects they take ten times the memory."""


@dataclass(frozen=True, slots=True)
class Ticks:
    """Judged ticks of settled spraying as columns, in order; shape (n,) each."""

    segment: NDArray[np.int64]
    t_us: NDArray[np.int64]
    """Of the tick's last sample."""
    said_us: NDArray[np.int64]
    """When it was judged."""
    seconds: Floats
    residual: Floats
    """Log conductance less the baseline's."""
    level: Floats
    """Log conductance of the baseline, Q in m3/s and P in Pa."""
    log_pressure: Floats
    """ln(P), P in Pa."""
    density_s: Floats
    roughness: Floats
    fault_level: Floats
    """Shift of the open fault; NaN while none is open."""
    shift: Floats
    """What the strongest test looks for; NaN while none runs."""
    nats: Floats
    threshold: Floats

    def __len__(self) -> int:
        return len(self.t_us)

    def part(self, wanted: slice | NDArray[np.bool_]) -> Ticks:
        """Some of them."""
        return Ticks(*(getattr(self, name)[wanted] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Again:
    """What a new monitor makes of a stream."""

    columns: Columns
    """Readings, without wall times."""
    events: tuple[Event, ...]
    ticks: Ticks
    samples: int
    cut: bool
    """It ended where it was asked to, before the end of the stream."""


class _Gatherer:
    """Takes ticks in as they come; a day of them takes 9 MB."""

    def __init__(self) -> None:
        self._whole = [array("q") for _ in range(3)]
        self._real = [array("d") for _ in range(10)]

    def take(self, seen: Evidence) -> None:
        test = _strongest(seen.tests)
        whole = (seen.at.segment, seen.at.t_us, seen.said.t_us)
        real = (
            seen.seconds,
            seen.residual,
            seen.level,
            seen.log_pressure,
            seen.density_s,
            seen.roughness,
            nan if seen.fault_level is None else seen.fault_level,
            nan if test is None else test.shift,
            nan if test is None else test.nats,
            nan if test is None else test.threshold,
        )
        for counts, count in zip(self._whole, whole, strict=True):
            counts.append(count)
        for values, value in zip(self._real, real, strict=True):
            values.append(value)

    def ticks(self) -> Ticks:
        segment, t_us, said_us = (np.array(one, dtype=np.int64) for one in self._whole)
        real = [np.array(one, dtype=np.float64) for one in self._real]
        return Ticks(segment, t_us, said_us, *real)


def replay_watched(
    items: Iterable[StreamItem],
    rig: Rig,
    baseline: HealthyBoom | None = None,
    until: Position | None = None,
    progress: Said | None = None,
) -> Again:
    """Run a stream through a new monitor and keep what it rested on.

    Args:
        items: the stream from its beginning.
        rig: calibrations applied.
        baseline: what its boom passes when healthy, if that was calibrated.
        until: may end behind this position; None for the whole stream.
    """
    monitor, gatherer = Monitor(rig, baseline), _Gatherer()
    monitor.watch(gatherer.take)
    parts: list[Columns] = []
    readings: list[Reading] = []
    events: list[Event] = []
    samples, ended = 0, True
    for item in items:
        output = monitor.feed(item)
        readings += output.readings
        events += output.events
        if isinstance(item, Samples):
            samples += len(item)
            if progress is not None:
                progress(samples)
        if until is not None and readings and _behind(readings[-1].at, until):
            ended = False
            break
        if len(readings) >= _BLOCK:
            # The newest stays, to be compared with `until`.
            parts.append(columns_of(readings[:-1]))
            readings = readings[-1:]
    if ended:
        output = monitor.finish()
        readings += output.readings
        events += output.events
    parts.append(columns_of(readings))
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return Again(columns, tuple(events), gatherer.ticks(), samples, not ended)


def _behind(one: Position, other: Position) -> bool:
    return (one.segment, one.t_us) > (other.segment, other.t_us)


def _strongest(tests: tuple[Test, ...]) -> Test | None:
    """The one that is nearest to its threshold, or farthest beyond it."""
    return max(tests, key=lambda test: test.nats / test.threshold, default=None)


def percent_of(log_shift: float) -> float:
    """A shift of a logarithm as a percentage."""
    return 100.0 * (exp(log_shift) - 1.0)
