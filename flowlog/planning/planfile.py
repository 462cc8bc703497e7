"""The plan of a tank as a TOML file: the job, its stops and its products.

`flowlog plan tank --new FILE` writes an example that explains every key. As with rig files, all
faults are told at once, each with its line. What the command's options give (`base`) wins over
the file, and what neither gives comes from the rig.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any, Final

from flowlog.planning.areas import circle_m2, rectangle_m2, triangle_m2
from flowlog.planning.plan_products import read_products
from flowlog.planning.products import Product, split_unit
from flowlog.planning.tank import Stop, TankJob
from flowlog.rig.faults import Faults, RigFileError, did_you_mean
from flowlog.rig.model import Rig, Units
from flowlog.rig.table import Table
from flowlog.rig.toml import parse_toml
from flowlog.units import Kind, display_unit, parse_with_unit

TABLES: Final = ("plan", "stop", "product")
RATE_LIMITS: Final = ("0.01 gal/1000 ft2", "50 gal/1000 ft2")
TANK_LIMITS: Final = ("0.1 gal", "5000 gal")
UNSPRAYABLE_LIMITS: Final = ("0 gal", "500 gal")
AREA_LIMITS: Final = ("1 ft2", "100000 ac")
_SIDE_LIMITS: Final = ("1 ft", "20 mi")
_LONGEST: Final = 64


@dataclass(frozen=True, slots=True)
class Written:
    """A quantity in SI, and the unit in which the person wrote it and reads the answer."""

    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class PlanInput:
    """What a file and options say together; None where nothing does."""

    name: str = ""
    rig: Rig | None = None
    rate: Written | None = None
    tank: Written | None = None
    unsprayable: Written | None = None
    stops: tuple[Stop, ...] = ()
    area_unit: str = ""
    products: tuple[Product, ...] = ()

    @property
    def units(self) -> Units:
        return "us" if self.rig is None else self.rig.units

    @property
    def spray_rate(self) -> Written | None:
        if self.rate is not None or self.rig is None:
            return self.rate
        return Written(self.rig.work.rate_m3_m2, display_unit("rate", self.units))

    @property
    def tank_volume(self) -> Written | None:
        if self.tank is not None or self.rig is None or self.rig.tank is None:
            return self.tank
        return Written(self.rig.tank.volume_m3, display_unit("volume", self.units))

    @property
    def rate_area_unit(self) -> str:
        """Area for amounts per area where the label names none, e.g. "1000 ft2"."""
        return "1000 ft2" if self.spray_rate is None else split_unit(self.spray_rate.unit)[1]

    @property
    def liquid_unit(self) -> str:
        """For liquid products whose label rate names no unit of volume."""
        return liquid_unit_beside(self.spray_rate.unit if self.spray_rate else "gal/ac")


def liquid_unit_beside(rate_unit: str) -> str:
    """mL beside a spray rate in liters, else fl oz."""
    volume = split_unit(rate_unit)[0].casefold()
    return "mL" if volume in {"l", "ml", "m3"} or volume.startswith("lit") else "fl oz"


def template_text() -> str:
    """The text of the example plan."""
    return (resources.files("flowlog.planning") / "example_plan.toml").read_text("utf-8")


def parse_plan(
    text: str, where: Path, read_rig: Callable[[str], Rig], base: PlanInput | None = None
) -> PlanInput:
    """Read and check a plan's text.

    Args:
        text: the file.
        where: its name, for messages.
        read_rig: gives the rig of a path as written in the plan; may raise RigFileError.
        base: what is given beside the file and wins over it.

    Raises:
        RigFileError: carries every fault of the plan, and of its rig file.
    """
    given = base or PlanInput()
    faults = Faults(str(where), text)
    data = parse_toml(text, where, 'rate = "1.5 gal/1000 ft2"')
    for key in data:
        if key not in TABLES:
            faults.add((key,), f"unknown table ({did_you_mean(key, TABLES)})")
    told: list[str] = []
    plan = _read_general(_table(data, faults), given, read_rig, told)
    stops, area_unit = _read_stops(_tables(data, faults, "stop"))
    if not given.stops:
        plan = replace(plan, stops=stops, area_unit=area_unit)
        if "stop" not in data:
            faults.add(("stop",), "there is no stop (begin one with a line [[stop]])")
    products = read_products(_tables(data, faults, "product"), plan.liquid_unit)
    if not given.products:
        plan = replace(plan, products=products)
    try:
        faults.raise_any()
    except RigFileError as error:
        raise RigFileError([*error.faults, *told]) from None
    if told:
        raise RigFileError(told)
    return plan


def to_job(plan: PlanInput) -> TankJob:
    """The job in SI; rate, tank and stops must be there."""
    rate, tank = plan.spray_rate, plan.tank_volume
    if rate is None or tank is None or not plan.stops:
        raise ValueError("a plan needs a rate, a tank and a stop")
    unsprayable = 0.0 if plan.unsprayable is None else plan.unsprayable.value
    return TankJob(rate.value, tank.value, unsprayable, plan.stops, plan.products)


def _read_general(
    table: Table, given: PlanInput, read_rig: Callable[[str], Rig], told: list[str]
) -> PlanInput:
    name = table.text("name", example='name = "Tuesday, north lawns"', longest=_LONGEST)
    rig_path = table.text("rig", example='rig = "rig.toml"', longest=1000)
    rig = given.rig
    failed = False
    if rig is None and rig_path:
        try:
            rig = read_rig(rig_path)
        except RigFileError as error:
            told.extend(error.faults)
            failed = True
    rate = _written(table, "rate", "rate", RATE_LIMITS, "1.5 gal/1000 ft2")
    tank = _written(table, "tank", "volume", TANK_LIMITS, "25 gal")
    unsprayable = _written(table, "unsprayable", "volume", UNSPRAYABLE_LIMITS, "0.5 gal")
    plan = PlanInput(
        name=given.name or name,
        rig=rig,
        rate=given.rate or rate,
        tank=given.tank or tank,
        unsprayable=given.unsprayable or unsprayable,
        stops=given.stops,
        area_unit=given.area_unit,
        products=given.products,
    )
    if not failed:
        if plan.spray_rate is None and "rate" not in table:
            table.fault("rate", 'missing (write rate = "1.5 gal/1000 ft2", or rig = "rig.toml")')
        if plan.tank_volume is None and "tank" not in table:
            table.fault("tank", 'missing (write tank = "25 gal", or a rig that has a tank)')
    size, kept = plan.tank_volume, plan.unsprayable
    if size is not None and kept is not None and kept.value >= size.value:
        table.fault("unsprayable", "is not less than the tank's volume")
    table.end()
    return plan


def _written(
    table: Table, key: str, kind: Kind, limits: tuple[str, str], example: str
) -> Written | None:
    if key not in table:
        table.raw(key)
        return None
    value = table.quantity(key, kind, *limits, example=f'{key} = "{example}"')
    if math.isnan(value):
        return None
    return Written(value, parse_with_unit(table.raw(key), kind)[1])


def _read_stops(tables: Sequence[Table]) -> tuple[tuple[Stop, ...], str]:
    """The stops, and the unit of the first area that is written as one."""
    stops, unit = [], ""
    for number, table in enumerate(tables, 1):
        name = table.text(
            "name", example='name = "Front lawn"', default=f"Stop {number}", longest=_LONGEST
        )
        stops.append(Stop(name, _read_area(table)))
        written = table.raw("area")
        if not unit and isinstance(written, str) and not math.isnan(stops[-1].area_m2):
            unit = parse_with_unit(written, "area")[1]
        table.end()
    return tuple(stops), unit


def _read_area(table: Table) -> float:
    """An area as such, or from what a tape read."""
    shapes: tuple[tuple[str, int, Callable[..., float], str], ...] = (
        ("rectangle", 2, rectangle_m2, 'rectangle = ["60 ft", "25 ft"]'),
        ("circle", 1, circle_m2, 'circle = "80 ft"'),
        ("triangle", 2, triangle_m2, 'triangle = ["30 ft", "26 ft"]'),
    )
    ways = [key for key in ("area", *(shape[0] for shape in shapes)) if key in table]
    for key, _, _, _ in shapes:
        table.raw(key)
    if len(ways) > 1:
        table.raw("area")
        table.fault(ways[1], f"stands beside {ways[0]} (keep only one of the two)")
        return math.nan
    if not ways or ways == ["area"]:
        return table.quantity("area", "area", *AREA_LIMITS, example='area = "12000 ft2"')
    key, count, area_of, example = next(shape for shape in shapes if shape[0] == ways[0])
    value = table.raw(key)
    sides = value if isinstance(value, list) else [value]
    if len(sides) != count:
        table.fault(key, f"must be {count} length(s) (write for instance {example})")
        return math.nan
    return area_of(
        *(
            table.measure(
                key,
                side,
                "length",
                *_SIDE_LIMITS,
                example=example,
                at=place if isinstance(value, list) else -1,
            )
            for place, side in enumerate(sides)
        )
    )


def _table(data: dict[str, Any], faults: Faults) -> Table:
    found = data.get("plan", {})
    if not isinstance(found, dict):
        faults.add(("plan",), "must be a table (begin it with a line [plan])")
        return Table(Faults(faults.file, faults.text), ("plan",), {})
    return Table(faults, ("plan",), found)


def _tables(data: dict[str, Any], faults: Faults, name: str) -> list[Table]:
    found = data.get(name, [])
    if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
        faults.add((name,), f"must be an array of tables (begin each with a line [[{name}]])")
        return []
    return [Table(faults, (name, place), item) for place, item in enumerate(found)]
