"""Fills of the tank for a job: how much water and product goes into each, and what that gives.

The spray needed is area times rate. A tank cannot be sprayed empty: what pump and lines keep
(the unsprayable volume) is mixed once, in the first fill, is there under every later one, and is
left over at the end. So the first fill is a whole tank, each later one a tank less the
unsprayable, and the last one only what the job still needs.

The product is measured, so it is the amount that is rounded to the jug's marks, never the rate;
the rate that results is worked out from what is then in the tank, including what the fill before
left there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from flowlog.errors import FlowlogError
from flowlog.physics.rates import area_per_tank_m2, volume_for_area_m3
from flowlog.planning.products import Product

_SLACK = 1e-9


class TankPlanError(FlowlogError):
    """A job that no number of fills can do."""


@dataclass(frozen=True, slots=True)
class Stop:
    name: str
    area_m2: float


@dataclass(frozen=True, slots=True)
class TankJob:
    """What is to be sprayed, with what, from which tank."""

    rate_m3_m2: float
    tank_m3: float
    unsprayable_m3: float
    stops: tuple[Stop, ...]
    products: tuple[Product, ...]

    @property
    def area_m2(self) -> float:
        return math.fsum(stop.area_m2 for stop in self.stops)

    @property
    def spray_m3(self) -> float:
        """Volume that goes onto the ground."""
        return volume_for_area_m3(self.rate_m3_m2, self.area_m2)

    @property
    def area_per_tank_m2(self) -> float:
        return area_per_tank_m2(self.tank_m3 - self.unsprayable_m3, self.rate_m3_m2)


@dataclass(frozen=True, slots=True)
class Dose:
    """One product in one fill; amounts in m3 (liquid) or kg (dry)."""

    exact: float
    measured: float
    """Rounded to the jug's graduation."""
    per_m2: float
    """What then goes on a square meter."""
    held_down: bool = False
    """Whether it was rounded down so that it does not pass the label's maximum."""


@dataclass(frozen=True, slots=True)
class Fill:
    """One filling of the tank."""

    added_m3: float
    """Of spray mix: water and liquid products together."""
    level_m3: float
    """What the tank holds afterwards."""
    sprayed_m3: float
    water_m3: float
    """Added volume less the liquid products; dry ones are taken as no volume."""
    area_m2: float
    doses: tuple[Dose, ...]


@dataclass(frozen=True, slots=True)
class StopShare:
    """Where a stop falls among the fills."""

    stop: Stop
    spray_m3: float
    first_fill: int
    last_fill: int
    """Numbers of fills, from 1."""
    refill_after_m2: tuple[float, ...]
    """Area of this stop that is done when the tank runs out in it, once for each time."""


@dataclass(frozen=True, slots=True)
class TankPlan:
    job: TankJob
    fills: tuple[Fill, ...]
    shares: tuple[StopShare, ...]
    left_m3: float
    """Mix that stays in the tank and lines at the end."""

    def total(self, product: int) -> float:
        """Measured amount of a product over all fills."""
        return math.fsum(fill.doses[product].measured for fill in self.fills)

    def exact_total(self, product: int) -> float:
        return math.fsum(fill.doses[product].exact for fill in self.fills)

    @property
    def water_m3(self) -> float:
        return math.fsum(fill.water_m3 for fill in self.fills)

    @property
    def mix_m3(self) -> float:
        """All that is mixed: what is sprayed and what is left."""
        return math.fsum(fill.added_m3 for fill in self.fills)


def plan_tank(job: TankJob) -> TankPlan:
    """Divide a job into fills.

    Raises:
        TankPlanError: the unsprayable volume is no less than the tank, or the products alone
            are more than the spray.
    """
    if job.unsprayable_m3 >= job.tank_m3:
        raise TankPlanError("the unsprayable volume is not less than the tank's")
    liquid = math.fsum(
        product.rate.in_spray(job.rate_m3_m2)
        for product in job.products
        if product.rate.form == "liquid"
    )
    if liquid >= 1.0:
        raise TankPlanError(
            f"the liquid products alone are {liquid:.3g} times the spray volume "
            "(check their rates and the spray rate)"
        )
    sprayed = _volumes(job)
    doses = [_doses(job, product, sprayed) for product in job.products]
    fills = []
    for number, volume in enumerate(sprayed):
        own = tuple(column[number] for column in doses)
        added = volume + (job.unsprayable_m3 if number == 0 else 0.0)
        in_liquids = math.fsum(
            dose.measured
            for dose, product in zip(own, job.products, strict=True)
            if product.rate.form == "liquid"
        )
        fills.append(
            Fill(
                added_m3=added,
                level_m3=volume + job.unsprayable_m3,
                sprayed_m3=volume,
                water_m3=added - in_liquids,
                area_m2=area_per_tank_m2(volume, job.rate_m3_m2),
                doses=own,
            )
        )
    return TankPlan(job, tuple(fills), _shares(job, fills), job.unsprayable_m3)


def _volumes(job: TankJob) -> list[float]:
    """What each fill sprays: full tanks, and the rest in the last."""
    usable = job.tank_m3 - job.unsprayable_m3
    # A rest smaller than rounding is no fill of its own.
    count = max(1, math.ceil(job.spray_m3 / usable - _SLACK))
    return [*[usable] * (count - 1), job.spray_m3 - usable * (count - 1)]


def _doses(job: TankJob, product: Product, sprayed: Sequence[float]) -> list[Dose]:
    """Amounts of one product, fill by fill, with what each leaves for the next."""
    wanted = product.rate.in_spray(job.rate_m3_m2)
    limit = product.maximum_per_m2
    found = []
    left = 0.0
    for number, volume in enumerate(sprayed):
        exact = wanted * (volume + (job.unsprayable_m3 if number == 0 else 0.0))
        level = volume + job.unsprayable_m3

        def per_m2(amount: float, level: float = level, left: float = left) -> float:
            return (left + amount) / level * job.rate_m3_m2

        measured = _rounded(exact, product.graduation)
        held_down = (
            limit is not None
            and product.graduation is not None
            and per_m2(measured) > limit * (1.0 + _SLACK) >= per_m2(exact)
        )
        if held_down and product.graduation is not None:
            # Rounding up must not be what breaks the label.
            measured = max(measured - product.graduation, 0.0) or exact
        found.append(Dose(exact, measured, per_m2(measured), held_down))
        left = (left + measured) * job.unsprayable_m3 / level
    return found


def _rounded(amount: float, graduation: float | None) -> float:
    """To the nearest mark; unrounded where the jug has no mark small enough."""
    if graduation is None:
        return amount
    marks = math.floor(amount / graduation + 0.5)
    return marks * graduation if marks else amount


def _shares(job: TankJob, fills: Sequence[Fill]) -> tuple[StopShare, ...]:
    """Walk along the stops with a tank that empties."""
    ends = []
    done = 0.0
    for fill in fills:
        done += fill.area_m2
        ends.append(done)
    slack = _SLACK * max(job.area_m2, 1.0)
    shares = []
    begin = 0.0
    for stop in job.stops:
        end = begin + stop.area_m2
        inside = [at for at in ends[:-1] if begin + slack < at < end - slack]
        first = 1 + sum(1 for at in ends[:-1] if at <= begin + slack)
        shares.append(
            StopShare(
                stop,
                volume_for_area_m3(job.rate_m3_m2, stop.area_m2),
                first,
                first + len(inside),
                tuple(at - begin for at in inside),
            )
        )
        begin = end
    return tuple(shares)
