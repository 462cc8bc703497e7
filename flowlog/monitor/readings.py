"""Ticks summed up into one reading a second."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flowlog.monitor.outputs import Reading
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.stretch import Stretch, first
from flowlog.monitor.ticks import TICKS_PER_READING


class _Sum:
    """What has come together of one second."""

    __slots__ = (
        "area", "distance", "flow_time", "highest", "lost", "lowest", "now", "pressed",
        "pressure", "pulses", "samples", "seconds", "share", "shares", "tank", "volume",
    )  # fmt: skip

    def __init__(self) -> None:
        self.now: Moment | None = None
        self.seconds = self.volume = self.area = self.distance = self.flow_time = 0.0
        self.pulses = self.samples = self.lost = 0
        self.pressed = self.shares = 0
        self.pressure = self.share = 0.0
        self.lowest, self.highest = float("inf"), float("-inf")
        self.tank: float | None = None

    def add(self, now: Moment, share: float | None, tank_m3: float | None) -> None:
        step = now.step
        self.now, self.tank = now, tank_m3
        self.seconds += step.seconds
        self.volume += step.volume_m3
        self.area += now.area_m2
        self.distance += step.distance_m
        self.flow_time += step.flow_m3_s * step.seconds
        self.pulses += step.pulses
        self.samples += now.tick.samples
        self.lost += step.lost
        if now.pressure is not None and now.pressure_pa is not None:
            self.pressed += 1
            self.pressure += now.pressure_pa
            self.lowest = min(self.lowest, now.pressure.min_pa)
            self.highest = max(self.highest, now.pressure.max_pa)
        if share is not None:
            self.shares += 1
            self.share += share

    def reading(self, now: Moment) -> Reading:
        is_open = now.phase in ("settling", "spraying")
        return Reading(
            at=now.at,
            seconds=self.seconds,
            phase=now.phase,
            pulses=self.pulses,
            volume_m3=self.volume,
            area_m2=self.area,
            flow_m3_s=self.flow_time / self.seconds,
            pressure_pa=self.pressure / self.pressed if self.pressed else None,
            pressure_min_pa=self.lowest if self.pressed else None,
            pressure_max_pa=self.highest if self.pressed else None,
            rate_m3_m2=self.volume / self.area if is_open and self.area > 0.0 else None,
            speed_m_s=self.distance / self.seconds,
            conductance_share=self.share / self.shares if self.shares else None,
            tank_m3=self.tank,
            samples=self.samples,
            lost=self.lost,
        )


class ReadingMaker:
    """Sums ticks; a reading ends with its last tick, or when a later second begins."""

    def __init__(self) -> None:
        self._second: tuple[int, int] | None = None
        self._sum = _Sum()

    def step(self, now: Moment, share: float | None, tank_m3: float | None) -> list[Reading]:
        """Take one tick in; return the readings that it completes (none, one or two).

        `share` is the conductance relative to the baseline, None where it was not judged.
        """
        number = now.tick.number
        second = (now.at.segment, number // TICKS_PER_READING)
        done = self.take() if second != self._second else []
        self._second = second
        self._sum.add(now, share, tank_m3)
        if number % TICKS_PER_READING == TICKS_PER_READING - 1:
            done += self.take()
        return done

    def take(self) -> list[Reading]:
        """Close the second that is open, if any."""
        total, self._sum = self._sum, _Sum()
        self._second = None
        return [total.reading(total.now)] if total.now is not None else []

    def look(self, ahead: Stretch) -> int:
        """How many ticks of many follow one another without a missing one between them."""
        number = ahead.column("number")
        return first(np.diff(number) != 1) + 1

    def go_on(
        self,
        ahead: Stretch,
        shares: Sequence[float | None],
        tank_m3: Sequence[float] | None,
    ) -> list[Reading]:
        """As `step` for each tick of what `look` has seen."""
        left: Sequence[float | None] = tank_m3 or [None] * len(ahead)
        begin = int(ahead.column("number")[0]) % TICKS_PER_READING
        if begin == 0 and self._second is not None:
            begin = TICKS_PER_READING
        end = begin + (len(ahead) - begin) // TICKS_PER_READING * TICKS_PER_READING
        done: list[Reading] = []
        for i in range(begin):
            done += self.step(ahead.moment(i), shares[i], left[i])
        part = slice(begin, end)
        done += _whole_seconds(ahead, part, shares[part], left[part])
        for i in range(end, len(ahead)):
            done += self.step(ahead.moment(i), shares[i], left[i])
        return done


def _whole_seconds(
    ahead: Stretch,
    part: slice,
    shares: Sequence[float | None],
    left_m3: Sequence[float | None],
) -> list[Reading]:
    """Readings of ticks that make whole seconds, two by two, with the sums of `_Sum`."""
    steps, pressures = ahead.steps, ahead.pressures
    whole = np.array((ahead.column("samples"), steps.pulses, steps.lost))[:, part]
    flow_time = steps.flow_m3_s * steps.seconds
    broken = np.array((steps.seconds, steps.volume_m3, ahead.area_m2, steps.distance_m, flow_time))[
        :, part
    ]
    samples, pulses, lost = whole[:, ::2] + whole[:, 1::2]
    seconds, volume, area, distance, flow_time = broken[:, ::2] + broken[:, 1::2]
    none: list[None] = [None] * len(seconds)
    pressure, lowest, highest = none, none, none
    if pressures is not None:
        mean = pressures.mean_pa[part]
        pressure = ((mean[::2] + mean[1::2]) / 2).tolist()
        lowest = np.minimum.reduce(pressures.min_pa[part].reshape(-1, 2), axis=1).tolist()
        highest = np.maximum.reduce(pressures.max_pa[part].reshape(-1, 2), axis=1).tolist()
    last = slice(1, None, 2)
    phases = ahead.phases.names[part][last]
    rates = [
        litres / ground if ground > 0.0 and phase in ("settling", "spraying") else None
        for litres, ground, phase in zip(volume.tolist(), area.tolist(), phases, strict=True)
    ]
    columns = (
        ahead.at[part][last],
        seconds.tolist(),
        phases,
        pulses.tolist(),
        volume.tolist(),
        area.tolist(),
        (flow_time / seconds).tolist(),
        pressure,
        lowest,
        highest,
        rates,
        (distance / seconds).tolist(),
        map(_mean, shares[::2], shares[last]),
        left_m3[last],
        samples.tolist(),
        lost.tolist(),
    )
    return list(map(Reading, *columns))


def _mean(first: float | None, second: float | None) -> float | None:
    if first is None:
        return second
    return first if second is None else (first + second) / 2
