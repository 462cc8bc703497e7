"""Ticks summed up into one reading a second."""

from __future__ import annotations

from flowlog.monitor.outputs import Reading
from flowlog.monitor.rules.moment import Moment
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
