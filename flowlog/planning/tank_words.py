"""What a tank plan must be warned about, in plain sentences, the weightiest first."""

from __future__ import annotations

from typing import Final

from flowlog.planning.planfile import PlanInput
from flowlog.planning.products import Product
from flowlog.planning.tank import TankPlan
from flowlog.units import show

_COARSE_SHARE: Final = 0.05
"""A rounding that moves the rate by more is no rounding any more: the trade's usual +-5 %."""
_SMALL_FILL_SHARE: Final = 0.1
"""Common practice, no source: a puddle in a large tank neither mixes nor draws well."""
_SLACK: Final = 1e-6

CAUTIONS: Final = (
    "CAUTION: The label is the law: rate, mixing partners and order, protective gear.",
    "CAUTION: Gloves and eye protection before you open a jug; stay with the tank.",
)


def tank_warnings(plan: TankPlan, given: PlanInput) -> list[str]:
    """Sentences about rates over the label's maximum, coarse jugs, and small or odd fills."""
    found = []
    for number, product in enumerate(plan.job.products):
        found += _maximum(plan, given, number, product)
        found += _graduation(plan, number, product)
    found += _fills(plan, given)
    return found


def left_over(plan: TankPlan, given: PlanInput) -> str | None:
    """What stays in the tank at the end, if anything."""
    if not plan.left_m3:
        return None
    tank = given.tank_volume
    left = show(plan.left_m3, "volume", unit=tank.unit if tank else "gal")
    return f"{left} of mix stays in tank and lines at the end; the label says what to do with it."


def _maximum(plan: TankPlan, given: PlanInput, number: int, product: Product) -> list[str]:
    limit = product.maximum_per_m2
    if limit is None:
        return []
    area = given.rate_area_unit
    most = product.show_per_area(limit, area)
    planned = product.rate.on_area(plan.job.rate_m3_m2)
    if planned > limit * (1 + _SLACK):
        return [
            f"{product.name}: the planned rate, {product.show_per_area(planned, area)}, is "
            f"{_percent(planned / limit - 1)} OVER the label's maximum, {most}. "
            "More than the label allows is a violation of the law."
        ]
    highest = max(fill.doses[number].per_m2 for fill in plan.fills)
    if highest > limit * (1 + _SLACK):
        return [
            f"{product.name}: as measured one fill gives {product.show_per_area(highest, area)}, "
            f"OVER the label's maximum, {most}. Measure less there, or use a finer jug."
        ]
    return []


def _graduation(plan: TankPlan, number: int, product: Product) -> list[str]:
    step = product.graduation
    if step is None:
        return []
    found = []
    for place, fill in enumerate(plan.fills, 1):
        dose = fill.doses[number]
        if dose.exact < step / 2:
            found.append(
                f"{product.name}: fill {place} needs {product.show(dose.exact)}, less than the "
                "smallest mark: left unrounded, use a finer jug."
            )
        elif abs(dose.measured / dose.exact - 1) > _COARSE_SHARE:
            why = ", held under the label's maximum," if dose.held_down else ""
            found.append(
                f"{product.name}: rounding to the mark{why} moves fill {place} by "
                f"{_percent(abs(dose.measured / dose.exact - 1))}: use a finer jug."
            )
    return found[:1]


def _fills(plan: TankPlan, given: PlanInput) -> list[str]:
    job = plan.job
    tank = given.tank_volume
    unit = tank.unit if tank else "gal"
    found = []
    last = plan.fills[-1]
    if len(plan.fills) > 1 and last.added_m3 < _SMALL_FILL_SHARE * job.tank_m3:
        even = job.spray_m3 / len(plan.fills) + job.unsprayable_m3
        found.append(
            f"The last fill is only {show(last.added_m3, 'volume', unit=unit)}: hard to mix and "
            f"to draw. {len(plan.fills)} fills up to {show(even, 'volume', unit=unit)} do the "
            f'same job (give tank = "{show(even, "volume", unit=unit)}").'
        )
    return found


def _percent(share: float) -> str:
    return show(share, "share", decimals=1 if share < 0.1 else 0)
