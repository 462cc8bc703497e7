"""Puts a tank plan together from its file, its options and the rig."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TypeVar

import click

from flowlog.planning.plan_products import read_graduation, read_product_line
from flowlog.planning.planfile import (
    AREA_LIMITS,
    RATE_LIMITS,
    TANK_LIMITS,
    UNSPRAYABLE_LIMITS,
    PlanInput,
    Written,
    parse_plan,
    template_text,
)
from flowlog.planning.tank import Stop
from flowlog.rig.model import Rig
from flowlog.rig.reader import read_rig
from flowlog.rig.template import write_new_file
from flowlog.rig.toml import read_text
from flowlog.units import Kind, UnitError, parse, parse_with_unit

Read = TypeVar("Read")


def write_new(path: Path) -> None:
    """Write the example plan; a file that is there is left alone.

    Raises:
        RigFileError: it is there already or cannot be written.
    """
    write_new_file(path, template_text())


def gather(
    file: Path | None,
    rig_file: Path | None,
    rate: str | None,
    tank: str | None,
    unsprayable: str | None,
    areas: Sequence[str],
    products: Sequence[str],
    graduations: Sequence[str],
    read_rig: Callable[[Path], Rig] = read_rig,
) -> PlanInput:
    """Everything that file, options and rig say.

    Args:
        read_rig: gives the rig of a rig file.

    Raises:
        RigFileError: faults of the plan file or the rig file, each with its line.
        UnitError: an option is no such quantity.
        click.UsageError: without a file, something is missing.
    """
    base = PlanInput(
        rig=None if rig_file is None else read_rig(rig_file),
        rate=_option("--rate", rate, "rate", RATE_LIMITS),
        tank=_option("--tank", tank, "volume", TANK_LIMITS),
        unsprayable=_option("--unsprayable", unsprayable, "volume", UNSPRAYABLE_LIMITS),
        stops=tuple(
            Stop(f"Stop {number}", _needed("--area", text, "area", AREA_LIMITS).value)
            for number, text in enumerate(areas, 1)
        ),
        area_unit=_needed("--area", areas[0], "area", AREA_LIMITS).unit if areas else "",
    )
    if graduations and not products:
        raise click.UsageError(
            "--graduation goes with --product (in a file write graduation under each product)"
        )
    marks = [_named("--graduation", partial(read_graduation, text)) for text in graduations]
    plan = base if file is None else _from_file(file, base, read_rig)
    if products:
        lines = [
            _named("--product", partial(read_product_line, text, plan.liquid_unit, marks))
            for text in products
        ]
        plan = replace(plan, products=tuple(lines))
    _complete(plan)
    return plan


def _from_file(file: Path, base: PlanInput, read_rig: Callable[[Path], Rig]) -> PlanInput:
    text = read_text(file, "plan file", "flowlog plan tank --new")

    def rig_beside(path: str) -> Rig:
        return read_rig(file.parent / Path(path).expanduser())

    return parse_plan(text, file, rig_beside, base)


def _complete(plan: PlanInput) -> None:
    """Without a file the options must say everything."""
    missing = []
    if plan.spray_rate is None:
        missing.append('--rate "1.5 gal/1000 ft2" (or --rig)')
    if plan.tank_volume is None:
        missing.append('--tank "25 gal" (or --rig with a tank)')
    if not plan.stops:
        missing.append('--area "40000 ft2"')
    if missing:
        raise click.UsageError(f"give a plan file, or: {', '.join(missing)}")
    tank, kept = plan.tank_volume, plan.unsprayable
    if tank is not None and kept is not None and kept.value >= tank.value:
        raise UnitError("the unsprayable volume is not less than the tank's")


def _option(name: str, text: str | None, kind: Kind, limits: tuple[str, str]) -> Written | None:
    return None if text is None else _needed(name, text, kind, limits)


def _needed(name: str, text: str, kind: Kind, limits: tuple[str, str]) -> Written:
    value, unit = _named(name, partial(parse_with_unit, text, kind))
    low, high = limits
    if not parse(low, kind) * (1 - 1e-9) <= value <= parse(high, kind) * (1 + 1e-9):
        raise UnitError(f"{name}: '{text}' is outside {low} to {high}")
    return Written(value, unit)


def _named(name: str, read: Callable[[], Read]) -> Read:
    """A fault of an option begins with its name."""
    try:
        return read()
    except UnitError as error:
        raise UnitError(f"{name}: {error}") from None
