"""`flowlog plan`: reach another rate, fill the tank. Nothing here touches the rig or its data."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

if TYPE_CHECKING:
    from flowlog.units import Kind

Read = TypeVar("Read")
_PATH = click.Path(path_type=Path)


@click.group(name="plan")
def command() -> None:
    """Work out how to reach a rate, and what goes into the tank."""


@command.command(name="rate", short_help="Ways to another rate: pressure, tips, speed.")
@click.argument("rig_file", metavar="RIG", type=_PATH)
@click.option(
    "--rate", required=True, metavar="RATE", help='The rate wanted, e.g. "1 gal/1000 ft2".'
)
@click.option("--pressure", metavar="P", help="The pressure now; else what the rig file asks for.")
@click.option("--speed", metavar="V", help="The speed now; else the rig file's.")
@click.option("--slowest", metavar="V", help='Refuse ways slower than this, e.g. "2 mph".')
@click.option("--fastest", metavar="V", help='Refuse ways faster than this, e.g. "6 mph".')
def rate(
    rig_file: Path,
    rate: str,
    pressure: str | None,
    speed: str | None,
    slowest: str | None,
    fastest: str | None,
) -> None:
    """The ways to a wanted RATE from the rig as it is: pressure, tips, speed.

    RIG is the rig file. Ways inside the tips' pressure band come ranked; the others are refused
    by name.
    """
    from flowlog.calibrating.inuse import load
    from flowlog.calibrating.words import line_of
    from flowlog.cli.plan_rate_show import rate_plan_view
    from flowlog.planning.rate import SpeedRange, plan_rate, setting_of
    from flowlog.review.print import echo
    from flowlog.rig.folders import resolve_data_folder
    from flowlog.rig.reader import read_rig
    from flowlog.units import UnitError

    as_filed = _told_by_line(lambda: read_rig(rig_file))
    in_use = load(resolve_data_folder(as_filed), as_filed)
    rig = in_use.rig
    setting = setting_of(
        rig,
        pressure_pa=_positive(pressure, "pressure", "--pressure"),
        speed_m_s=_positive(speed, "speed", "--speed"),
    )
    low = _positive(slowest, "speed", "--slowest") or 0.0
    high = _positive(fastest, "speed", "--fastest") or float("inf")
    if low >= high:
        raise UnitError(f"--slowest: '{slowest}' is not less than --fastest, '{fastest}'")
    wanted = _positive(rate, "rate", "--rate")
    assert wanted is not None
    plan = plan_rate(setting, wanted, SpeedRange(low, high))
    for one in in_use.used:
        if one.row.kind == "course":
            click.echo(f"By {line_of(one, rig.units)}.")
    echo(rate_plan_view(rig, plan, rig.units, (slowest or "", fastest or ""), ascii_only=_ascii()))


@command.command(name="tank", short_help="Water and product for each fill of the tank.")
@click.argument("file", required=False, metavar="[PLANFILE]", type=_PATH)
@click.option("--new", is_flag=True, help="Write a commented example to PLANFILE and stop.")
@click.option("--rig", "rig_file", type=_PATH, metavar="RIG", help="Rate and tank from there.")
@click.option("--rate", metavar="RATE", help='Spray rate, e.g. "1.5 gal/1000 ft2".')
@click.option("--tank", metavar="VOLUME", help='e.g. "25 gal".')
@click.option("--unsprayable", metavar="VOLUME", help="What pump and lines cannot empty.")
@click.option("--area", "areas", multiple=True, metavar="AREA", help="Once for each stop.")
@click.option(
    "--product",
    "products",
    multiple=True,
    metavar="TEXT",
    help='"NAME: 3 fl oz/1000 ft2", "NAME: 0.25 %" or "NAME: 2 lb/ac of 80 %" (a.i.).',
)
@click.option(
    "--graduation",
    "graduations",
    multiple=True,
    metavar="MARK",
    help='Round --product to the jug or scale, e.g. "0.5 fl oz".',
)
def tank(
    file: Path | None,
    *,
    new: bool,
    rig_file: Path | None,
    rate: str | None,
    tank: str | None,
    unsprayable: str | None,
    areas: tuple[str, ...],
    products: tuple[str, ...],
    graduations: tuple[str, ...],
) -> None:
    """Water and product for each fill of the tank, the last one, and in all.

    From a PLANFILE (write one with --new), from options, or both: options win. Amounts come in
    the units that you write. A rig stands for itself as it is calibrated.
    """
    from flowlog.cli.plan_tank_read import gather, write_new
    from flowlog.cli.plan_tank_rig import CalibratedRigs
    from flowlog.cli.plan_tank_show import tank_plan_view
    from flowlog.planning.planfile import to_job
    from flowlog.planning.tank import plan_tank
    from flowlog.review.print import echo

    if new:
        if file is None:
            raise click.UsageError("--new needs the name of the file to write")
        target = file
        _told_by_line(lambda: write_new(target))
        click.echo(f"Wrote {file}. Change it to suit your job, then: flowlog plan tank {file}")
        return
    rigs = CalibratedRigs()
    given = _told_by_line(
        lambda: gather(
            file, rig_file, rate, tank, unsprayable, areas, products, graduations, rigs.read
        )
    )
    plan = plan_tank(to_job(given))
    for line in rigs.rests_on():
        click.echo(line)
    echo(tank_plan_view(plan, given, rigs.warning(given)))


_LARGEST = {"rate": "50 gal/1000 ft2", "pressure": "500 psi", "speed": "20 mph"}
_SMALLEST = {"rate": "0.01 gal/1000 ft2", "pressure": "1 psi", "speed": "0.2 mph"}


def _positive(text: str | None, kind: Kind, option: str) -> float | None:
    """An option's value in SI, within the limits that a rig file has too."""
    from flowlog.units import UnitError, parse

    if text is None:
        return None
    try:
        value = parse(text, kind)
    except UnitError as error:
        raise UnitError(f"{option}: {error}") from None
    low, high = _SMALLEST[kind], _LARGEST[kind]
    if not parse(low, kind) * (1 - 1e-9) <= value <= parse(high, kind) * (1 + 1e-9):
        raise UnitError(f"{option}: '{text}' is outside {low} to {high}")
    return value


def _told_by_line(read: Callable[[], Read]) -> Read:
    """Read a file; its faults are told one a line, so that an editor can jump to each."""
    from flowlog.rig.faults import RigFileError

    try:
        return read()
    except RigFileError as error:
        for line in error.faults:
            click.echo(line, err=True)
        click.get_current_context().exit(2)


def _ascii() -> bool:
    return not (sys.stdout.encoding or "").lower().startswith("utf")
