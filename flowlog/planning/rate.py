"""The ways to reach a wanted rate: by pressure, another size of tip, speed, or two of these.

A tip lets out q = k * P^0.5 (square-root law), a carrier of relative density d thins that by
d^0.5, and the rate is q / (speed * spacing). Three things can be changed, k, P and speed, and
each way changes one or two of them. A way whose pressure leaves the tip's band is not proposed
but refused by name: outside it the fan collapses or the drops turn to mist, whatever the flow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Literal

from flowlog.physics.carrier import conversion_factor
from flowlog.physics.rates import (
    application_rate_m3_m2,
    flow_for_rate_m3_s,
    speed_for_rate_m_s,
)
from flowlog.physics.tips import pressure_for_flow_pa, tip_flow_m3_s
from flowlog.planning.nozzles import TIP_SIZES, TipSize
from flowlog.rig.model import Boom, Rig

WayKind = Literal["pressure", "tips", "speed", "speed and pressure", "tips and speed"]
Refusal = Literal[
    "pressure below", "pressure above", "pressure now outside", "too slow", "too fast", "no size"
]
Drops = Literal["as now", "finer", "coarser", "unclear"]
Drift = Literal["as now", "more", "less", "unclear"]

SAME_TIP_SHARE: Final = 0.05
"""Tips this near to those fitted are no other tips: new ones differ by as much."""
SAME_PRESSURE_SHARE: Final = 0.05
SAME_SPEED_SHARE: Final = 0.10
"""Changes below these count as none, in ranking and in words. Common practice, no source."""
_SLACK: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Setting:
    """The rig as it is set now: what a way starts from."""

    boom: Boom
    carrier_relative_density: float
    pressure_pa: float
    speed_m_s: float

    @property
    def thinning(self) -> float:
        """How many times more water than carrier a tip lets out at one pressure."""
        return conversion_factor(self.carrier_relative_density)

    @property
    def coefficient(self) -> float:
        """k of the tips that are fitted, for the carrier."""
        return self.boom.tip.coefficient / self.thinning

    @property
    def rate_m3_m2(self) -> float:
        return self.rate_at(self.pressure_pa)

    def rate_at(self, pressure_pa: float, coefficient: float | None = None) -> float:
        """Rate of the carrier at a pressure and the speed now, m3/m2."""
        k = self.coefficient if coefficient is None else coefficient
        return application_rate_m3_m2(
            tip_flow_m3_s(k, pressure_pa), self.speed_m_s, self.boom.spacing_m
        )


@dataclass(frozen=True, slots=True)
class SpeedRange:
    """Between which speeds the machine or the person can work."""

    slowest_m_s: float = 0.0
    fastest_m_s: float = math.inf


@dataclass(frozen=True, slots=True)
class Way:
    """One way to the wanted rate, possible or refused."""

    kind: WayKind
    size: TipSize | None
    """The tips to fit; None for those that are fitted."""
    coefficient: float
    """k of the tips, for the carrier."""
    pressure_pa: float
    speed_m_s: float
    rate_m3_m2: float
    """What comes out: the wanted rate, worked forwards from the other three."""
    boom_flow_m3_s: float
    outside_share: float
    """0 inside the tip's band; else the pressure over the nearer end, minus 1 (negative below)."""
    drops: Drops
    drift: Drift
    refusal: Refusal | None = None


@dataclass(frozen=True, slots=True)
class RatePlan:
    setting: Setting
    wanted_m3_m2: float
    tip_flow_m3_s: float
    """Flow of the carrier that each tip must give at the speed now."""
    ways: tuple[Way, ...]
    """Inside the band, the best first; see `rank`."""
    refused: tuple[Way, ...]


def setting_of(
    rig: Rig, *, pressure_pa: float | None = None, speed_m_s: float | None = None
) -> Setting:
    """The rig as its file says (the pressure that gives its rate), or as it is set in truth."""
    return Setting(
        rig.boom,
        rig.work.carrier_relative_density,
        rig.expected_pressure_pa if pressure_pa is None else pressure_pa,
        rig.work.speed_m_s if speed_m_s is None else speed_m_s,
    )


def plan_rate(setting: Setting, wanted_m3_m2: float, speeds: SpeedRange | None = None) -> RatePlan:
    """Work out every way from a setting to a rate.

    Args:
        setting: the rig now; pressure and speed positive.
        wanted_m3_m2: the rate of the carrier, positive.
        speeds: those outside it are refused; without it any speed is shown.
    """
    limits = speeds or SpeedRange()
    flow = flow_for_rate_m3_s(wanted_m3_m2, setting.speed_m_s, setting.boom.spacing_m)
    found = [
        _by_pressure(setting, flow),
        *_by_tips(setting, wanted_m3_m2, flow, limits),
        *_by_speed(setting, wanted_m3_m2, flow, limits),
    ]
    ways = [way for way in found if way.refusal is None]
    ways.sort(key=lambda way: rank(setting, way))
    return RatePlan(
        setting=setting,
        wanted_m3_m2=wanted_m3_m2,
        tip_flow_m3_s=flow,
        ways=tuple(ways),
        refused=tuple(way for way in found if way.refusal is not None),
    )


def rank(setting: Setting, way: Way) -> tuple[float, float, float]:
    """Order of the ways: a speed kept (within 10 %), then no new tips, then the least change.

    The speed comes first because it is the hardest to hold: it hangs on ground, person and load,
    and every percent of it is a percent of the rate. Where the speed must change, less is better.
    The change of pressure counts by half, as it does for the flow; between equals the pressure
    alone stands first, which is only a turn of the regulator.
    """
    speed = abs(math.log(way.speed_m_s / setting.speed_m_s))
    kept = speed <= math.log1p(SAME_SPEED_SHARE) + _SLACK
    flow = abs(math.log(way.pressure_pa / setting.pressure_pa)) / 2.0
    return (
        0.0 if kept else round(speed, 6),
        0.0 if way.size is None else 1.0,
        round(flow + (speed if kept else 0.0), 6),
    )


def outside_band(boom: Boom, pressure_pa: float) -> float:
    """0 inside the tip's band; else the pressure over the nearer end, minus 1."""
    if pressure_pa < boom.pressure_low_pa * (1.0 - _SLACK):
        return pressure_pa / boom.pressure_low_pa - 1.0
    if pressure_pa > boom.pressure_high_pa * (1.0 + _SLACK):
        return pressure_pa / boom.pressure_high_pa - 1.0
    return 0.0


def _by_pressure(setting: Setting, flow_m3_s: float) -> Way:
    pressure = pressure_for_flow_pa(setting.coefficient, flow_m3_s)
    return _way(setting, "pressure", pressure, setting.speed_m_s)


def _by_tips(setting: Setting, wanted: float, flow_m3_s: float, limits: SpeedRange) -> list[Way]:
    """Every size that does it inside the band at the speed now, or else the two next to it."""
    found = []
    for size in TIP_SIZES:
        k = size.coefficient / setting.thinning
        if abs(k / setting.coefficient - 1.0) < SAME_TIP_SHARE:
            continue
        pressure = pressure_for_flow_pa(k, flow_m3_s)
        found.append(_way(setting, "tips", pressure, setting.speed_m_s, size))
    inside = [way for way in found if way.refusal is None]
    if inside:
        return inside
    boom = setting.boom
    too_small = [way for way in found if way.outside_share > 0]
    too_large = [way for way in found if way.outside_share < 0]
    nearest = [*too_small[-1:], *too_large[:1]]
    ways = []
    for way in nearest:
        end = boom.pressure_high_pa if way.outside_share > 0 else boom.pressure_low_pa
        speed = _speed_for(setting, wanted, way.coefficient, end)
        ways.append(_way(setting, "tips and speed", end, speed, way.size, limits))
    closest = min(nearest, key=lambda way: abs(way.outside_share))
    return [_refuse(closest, "no size"), *ways]


def _by_speed(setting: Setting, wanted: float, flow_m3_s: float, limits: SpeedRange) -> list[Way]:
    """By speed alone, and with the pressure as far as the band lets it go towards the rate."""
    speed = _speed_for(setting, wanted, setting.coefficient, setting.pressure_pa)
    alone = _way(setting, "speed", setting.pressure_pa, speed, None, limits)
    if alone.outside_share:
        alone = _refuse(alone, "pressure now outside")
    boom = setting.boom
    alone_by_pressure = pressure_for_flow_pa(setting.coefficient, flow_m3_s)
    beyond = outside_band(boom, alone_by_pressure)
    if not beyond:
        return [alone]
    end = boom.pressure_low_pa if beyond < 0 else boom.pressure_high_pa
    if math.isclose(end, setting.pressure_pa, rel_tol=1e-6):
        return [alone]
    speed = _speed_for(setting, wanted, setting.coefficient, end)
    return [alone, _way(setting, "speed and pressure", end, speed, None, limits)]


def _speed_for(setting: Setting, wanted: float, coefficient: float, pressure_pa: float) -> float:
    flow = tip_flow_m3_s(coefficient, pressure_pa)
    return speed_for_rate_m_s(wanted, flow, setting.boom.spacing_m)


def _way(
    setting: Setting,
    kind: WayKind,
    pressure_pa: float,
    speed_m_s: float,
    size: TipSize | None = None,
    limits: SpeedRange | None = None,
) -> Way:
    k = setting.coefficient if size is None else size.coefficient / setting.thinning
    flow = tip_flow_m3_s(k, pressure_pa)
    outside = outside_band(setting.boom, pressure_pa)
    refusal: Refusal | None = None
    if outside:
        refusal = "pressure below" if outside < 0 else "pressure above"
    elif limits is not None and speed_m_s < limits.slowest_m_s * (1.0 - _SLACK):
        refusal = "too slow"
    elif limits is not None and speed_m_s > limits.fastest_m_s * (1.0 + _SLACK):
        refusal = "too fast"
    drops = drops_tendency(k / setting.coefficient, pressure_pa / setting.pressure_pa)
    return Way(
        kind=kind,
        size=size,
        coefficient=k,
        pressure_pa=pressure_pa,
        speed_m_s=speed_m_s,
        rate_m3_m2=application_rate_m3_m2(flow, speed_m_s, setting.boom.spacing_m),
        boom_flow_m3_s=flow * setting.boom.tips,
        outside_share=outside,
        drops=drops,
        drift=drift_tendency(drops, speed_m_s / setting.speed_m_s),
        refusal=refusal,
    )


def _refuse(way: Way, refusal: Refusal) -> Way:
    return replace(way, refusal=refusal)


def drops_tendency(tip_ratio: float, pressure_ratio: float) -> Drops:
    """What happens to the drops, for tips of one kind: a tendency, never a class.

    More pressure makes finer drops, a larger tip coarser ones. Where the two pull in opposite
    directions only the tip's own chart tells. Common practice, no source for the tip; a state
    manual for the pressure.

    Args:
        tip_ratio: coefficient of the new tips over that of the old.
        pressure_ratio: new pressure over the old.
    """
    coarser = _sign(tip_ratio, SAME_TIP_SHARE)
    finer = _sign(pressure_ratio, SAME_PRESSURE_SHARE)
    both = {coarser, -finer} - {0}
    if not both:
        return "as now"
    if len(both) > 1:
        return "unclear"
    return "coarser" if both == {1} else "finer"


def drift_tendency(drops: Drops, speed_ratio: float) -> Drift:
    """Fine drops drift, and so does what a fast boom leaves in its wake. Common practice."""
    faster = _sign(speed_ratio, SAME_SPEED_SHARE)
    if drops == "unclear":
        return "unclear"
    by_drops = {"as now": 0, "finer": 1, "coarser": -1}[drops]
    both = {faster, by_drops} - {0}
    if not both:
        return "as now"
    if len(both) > 1:
        return "unclear"
    return "more" if both == {1} else "less"


def _sign(ratio: float, tolerance: float) -> int:
    """1 for clearly more, -1 for clearly less, 0 between."""
    if abs(ratio - 1.0) <= tolerance + _SLACK:
        return 0
    return 1 if ratio > 1.0 else -1
