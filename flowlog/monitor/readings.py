"""Ticks summed up into one reading a second."""

from __future__ import annotations

from flowlog.monitor.outputs import Position, Reading
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.ticks import TICKS_PER_READING


class ReadingMaker:
    """Sums ticks; a reading ends with its last tick, or when a later second begins."""

    def __init__(self) -> None:
        self._second: tuple[int, int] | None = None
        self._moments: list[tuple[Moment, float | None, float | None]] = []

    def step(
        self, now: Moment, conductance_share: float | None, tank_m3: float | None
    ) -> list[Reading]:
        """Take one tick in; return the readings that it completes (none, one or two)."""
        second = (now.at.segment, now.tick.number // TICKS_PER_READING)
        done = self.take() if self._second not in (None, second) else []
        self._second = second
        self._moments.append((now, conductance_share, tank_m3))
        if now.tick.number % TICKS_PER_READING == TICKS_PER_READING - 1:
            done += self.take()
        return done

    def take(self) -> list[Reading]:
        """Close the second that is open, if any."""
        moments, self._moments = self._moments, []
        self._second = None
        if not moments:
            return []
        now, _, tank = moments[-1]
        parts = [moment for moment, _, _ in moments]
        seconds = sum(m.step.seconds for m in parts)
        volume = sum(m.step.volume_m3 for m in parts)
        area = sum(m.area_m2 for m in parts)
        pressures = [m.pressure for m in parts if m.pressure and m.pressure.state == "ok"]
        shares = [share for _, share, _ in moments if share is not None]
        is_open = now.phase in ("settling", "spraying")
        return [
            Reading(
                at=now.at,
                seconds=seconds,
                phase=now.phase,
                pulses=sum(m.step.pulses for m in parts),
                volume_m3=volume,
                area_m2=area,
                flow_m3_s=sum(m.step.flow_m3_s * m.step.seconds for m in parts) / seconds,
                pressure_pa=(
                    sum(p.mean_pa for p in pressures) / len(pressures) if pressures else None
                ),
                pressure_min_pa=min((p.min_pa for p in pressures), default=None),
                pressure_max_pa=max((p.max_pa for p in pressures), default=None),
                rate_m3_m2=volume / area if is_open and area > 0.0 else None,
                speed_m_s=sum(m.step.distance_m for m in parts) / seconds,
                conductance_share=sum(shares) / len(shares) if shares else None,
                tank_m3=tank,
                samples=sum(m.tick.samples for m in parts),
                lost=sum(m.step.lost for m in parts),
            )
        ]
