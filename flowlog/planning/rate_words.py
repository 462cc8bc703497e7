"""What a rate plan says, in a person's units: each way, each refusal, and what to mind."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from flowlog.physics.carrier import water_rate_for
from flowlog.planning.nozzles import SIZE_PRESSURE_PA, TIP_SIZES, nearest_size
from flowlog.planning.rate import RatePlan, Way
from flowlog.rig.model import Gauge, Meter, Units
from flowlog.units import Kind, show

Say = Callable[[float, Kind], str]

RANKING: Final = "Best first: speed kept (10 %), then no new tips, then the least change."
TIPS_NOTE: Final = (
    "Tips: nominal sizes after ISO 10625 (flow at 3 bar), quoted from memory; US sizes, "
    "gal/min at 40 psi, flow 1.3 % less. The band is that of the tips now fitted: "
    "new ones bring their own, see their chart."
)
LABEL_NOTE: Final = (
    "The label is the law: check its spray volume, drop size class and pressure. "
    "Too much product is a violation, too little may not work."
)
AFTERWARDS: Final = "Then time the course and catch the tips again, with clean water, gloves on."

_UNCHANGED: Final = 0.005
"""Nobody sets a regulator or a speed finer than this share."""
_FRACTIONS: Final = (
    (0.25, "a quarter of"),
    (1 / 3, "a third of"),
    (0.5, "half"),
    (2.0, "twice"),
    (4.0, "four times"),
)


def sayer(units: Units) -> Say:
    """`show` in one system of units."""

    def say(value: float, kind: Kind) -> str:
        return show(value, kind, units)

    return say


def band_words(plan: RatePlan, say: Say) -> str:
    boom = plan.setting.boom
    low = say(boom.pressure_low_pa, "pressure").split()[0]
    return f"{low} to {say(boom.pressure_high_pa, 'pressure')}"


def tips_words(plan: RatePlan, say: Say) -> str:
    """The tips that are fitted, with the nominal size nearest to them."""
    tip = plan.setting.boom.tip
    size, off = nearest_size(tip.coefficient)
    name = f"about size {size.name}" if abs(off) < 0.05 else f"between sizes, nearest {size.name}"
    return f"{say(tip.flow_m3_s, 'flow')} at {say(tip.at_pressure_pa, 'pressure')} ({name})"


def needed_words(plan: RatePlan, say: Say) -> str:
    """Flow that each tip must give at the speed now, and as water under the sizes' own pressure."""
    setting = plan.setting
    water = plan.tip_flow_m3_s * setting.thinning
    at_3_bar = water * (SIZE_PRESSURE_PA / setting.pressure_pa) ** 0.5
    return (
        f"{say(plan.tip_flow_m3_s, 'flow')} at {say(setting.pressure_pa, 'pressure')} "
        f"({show(at_3_bar, 'flow', unit='L/min')} of water at 3 bar)"
    )


def kind_cell(plan: RatePlan, way: Way) -> str:
    """What a way changes; a size of tip hardly ever comes without a touch of the regulator."""
    moved = abs(way.pressure_pa / plan.setting.pressure_pa - 1.0) > _UNCHANGED
    return "tips, pressure" if way.kind == "tips" and moved else way.kind.replace(" and", ",")


def tip_cell(way: Way) -> str:
    return "as now" if way.size is None else f"size {way.size.name}"


def refusal_words(plan: RatePlan, way: Way, say: Say, limits: tuple[str, str] = ("", "")) -> str:
    """Why a way is refused, in one line.

    Args:
        plan: where the way comes from.
        way: a refused one.
        say: see `sayer`.
        limits: slowest and fastest speed as the person wrote them.
    """
    setting = plan.setting
    pressure, speed = say(way.pressure_pa, "pressure"), say(way.speed_m_s, "speed")
    band = band_words(plan, say)
    side = "below" if way.outside_share < 0 else "above"
    size = "" if way.size is None else f"size {way.size.name}: "
    match way.refusal:
        case "no size":
            name = "" if way.size is None else way.size.name
            return (
                f"no size from {TIP_SIZES[0].name} to {TIP_SIZES[-1].name} gives it inside the "
                f"band {band} at the speed now; the nearest, {name}, needs {pressure}"
            )
        case "pressure now outside":
            return f"the pressure now, {pressure}, itself lies {side} the band {band}"
        case "too slow":
            return f"{size}{speed} at {pressure} is slower than the slowest speed, {limits[0]}"
        case "too fast":
            return f"{size}{speed} at {pressure} is faster than the fastest speed, {limits[1]}"
        case _:
            times = times_words(way.pressure_pa / setting.pressure_pa, "the pressure now")
            far = f"{100 * abs(way.outside_share):.0f} %"
            return f"{size}{pressure}, {times}, lies {far} {side} the band {band}"


def times_words(ratio: float, what: str) -> str:
    """`a quarter of the pressure now`, `31 % of the pressure now`, `1.31 times ...`."""
    if abs(ratio - 1.0) < _UNCHANGED:
        return "as now"
    for value, words in _FRACTIONS:
        if abs(ratio / value - 1.0) < 0.01:
            return f"{words} {what}"
    return f"{100 * ratio:.3g} % of {what}" if ratio < 1 else f"{ratio:.3g} times {what}"


def change_words(plan: RatePlan, way: Way, say: Say) -> str:
    """What to do for a way, in one sentence."""
    setting = plan.setting
    steps = []
    if way.size is not None:
        steps.append(f"fit {setting.boom.tips} tips of size {way.size.name}")
    change = way.pressure_pa / setting.pressure_pa - 1.0
    if abs(change) > _UNCHANGED:
        steps.append(f"set {say(way.pressure_pa, 'pressure')} ({_signed(change)})")
    else:
        steps.append(f"leave the pressure at {say(setting.pressure_pa, 'pressure')}")
    change = way.speed_m_s / setting.speed_m_s - 1.0
    if abs(change) > _UNCHANGED:
        steps.append(f"go {say(way.speed_m_s, 'speed')} ({_signed(change)})")
    else:
        steps.append(f"keep {say(setting.speed_m_s, 'speed')}")
    return ", ".join(steps)


def notes(plan: RatePlan, say: Say, meter: Meter, gauge: Gauge) -> list[str]:
    """What to mind with the ways of this plan, the weightiest first."""
    found = [*_mix(plan), *_sensors(plan, say, meter, gauge)]
    setting = plan.setting
    if abs(setting.thinning - 1.0) > 0.005:
        water = water_rate_for(plan.wanted_m3_m2, setting.carrier_relative_density)
        found.append(
            f"Carrier of relative density {setting.carrier_relative_density:.2f}: the pressures "
            f"hold for it; with water the same setting gives {say(water, 'rate')}."
        )
    if any(way.speed_m_s > 1.5 * setting.speed_m_s for way in plan.ways):
        found.append(
            "More than half as fast again as now: only where ground, boom and label allow it."
        )
    unclear = next((way for way in plan.ways if way.drops == "unclear"), None)
    if unclear is not None:
        small = unclear.coefficient < setting.coefficient
        found.append(
            f"Drops unclear: a {'smaller' if small else 'larger'} tip makes them "
            f"{'finer' if small else 'coarser'}, {'less' if small else 'more'} pressure "
            f"{'coarser' if small else 'finer'}; the tips' own chart tells which wins."
        )
    return found


def _mix(plan: RatePlan) -> list[str]:
    share = plan.wanted_m3_m2 / plan.setting.rate_m3_m2 - 1.0
    if abs(share) < 0.005:
        return []
    way = "MORE" if share > 0 else "LESS"
    return [
        f"The mix now in the tank would put {100 * abs(share):.0f} % {way} product on the ground: "
        "mix anew for the new rate (flowlog plan tank)."
    ]


def _sensors(plan: RatePlan, say: Say, meter: Meter, gauge: Gauge) -> list[str]:
    found = []
    flows = sorted({way.boom_flow_m3_s for way in plan.ways})
    outside = [flow for flow in flows if not meter.lowest_m3_s <= flow <= meter.highest_m3_s]
    if outside:
        low, high = say(meter.lowest_m3_s, "flow"), say(meter.highest_m3_s, "flow")
        found.append(
            f"A boom flow of {say(outside[0], 'flow')} is outside the meter's range "
            f"({low} to {high}): it would be logged wrong."
        )
    highest = max((way.pressure_pa for way in plan.ways), default=0.0)
    if highest > gauge.span_pa:
        found.append(f"The gauge ends at {say(gauge.span_pa, 'pressure')}, below some of these.")
    return found


def _signed(share: float) -> str:
    return f"{share * 100.0:+.0f} %"
