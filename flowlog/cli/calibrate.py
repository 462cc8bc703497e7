"""`flowlog calibrate`: guided, or one step at a time; nothing is stored before it is confirmed."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from flowlog.cli.calibrate_desk import Desk

_PATH = click.Path(path_type=Path)
_OF_ALL = ("history", "show")
_STEPS = ("course", "catch", "meter", "gauge", "baseline", "capped")
"""As in `flowlog.calibrating.session`, which `--help` should not load."""


class _Group(click.Group):
    """Takes `history` and `show` also without a rig file, where there is only one rig."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if args and args[0] in _OF_ALL and not Path(args[0]).exists():
            args = ["-", *args]
        return super().parse_args(ctx, self._options_first(ctx, args))

    def _options_first(self, ctx: click.Context, args: list[str]) -> list[str]:
        """The group's options may stand behind RIGFILE too, which click allows no group."""
        takes_value = {
            name
            for option in self.get_params(ctx)
            if isinstance(option, click.Option) and not option.is_flag
            for name in option.opts
        }
        options: list[str] = []
        names: list[str] = []
        rest = list(args)
        while rest and len(names) < 2:
            one = rest.pop(0)
            if one == "-" or not one.startswith("-"):
                names.append(one)
                continue
            options.append(one)
            if one in takes_value and rest:
                options.append(rest.pop(0))
        return [*options, *names, *rest]


@click.group(name="calibrate", cls=_Group, invoke_without_command=True)
@click.argument("rig_file", metavar="RIGFILE", type=click.Path(path_type=Path, allow_dash=True))
@click.option("--by", metavar="NAME", help="Who calibrates; else the login name.")
@click.option("--units", type=click.Choice(["us", "metric"]), help="Else those of the rig file.")
@click.option("--data", type=_PATH, metavar="FOLDER", help="The rig's data folder.")
@click.option("--port", metavar="PORT", help="The board's port instead of the rig file's.")
@click.option("--water", metavar="TEMP", help='Water temperature, "64 F" or "18 C".')
@click.option("--note", metavar="TEXT", help="Kept with every result.")
@click.option("--from", "from_file", type=_PATH, metavar="FILE", help="Answers from a TOML file.")
@click.option("--yes", is_flag=True, help="Store without asking.")
@click.pass_context
def command(
    ctx: click.Context,
    rig_file: Path,
    by: str | None,
    units: str | None,
    data: Path | None,
    port: str | None,
    water: str | None,
    note: str | None,
    from_file: Path | None,
    *,
    yes: bool,
) -> None:
    """Calibrate the rig of RIGFILE with clean water, tape, stopwatch and jug.

    Alone it leads through all steps and can be left and gone on with at any time. With a step it
    does that step: guided, or at once from options. Results are never overwritten; the daemon
    watches with the newest valid ones.
    """
    from flowlog.cli.calibrate_desk import Desk

    desk = Desk(rig_file, units, data, port)
    desk.note(by, water, note, yes=yes)
    ctx.obj = desk
    if ctx.invoked_subcommand is not None:
        if from_file is not None:
            raise click.UsageError("--from stands alone: the file's tables name the steps")
        return
    if from_file is None:
        desk.guided(None)
        return
    from flowlog.calibrating.inputs import read_file

    desk.at_once(read_file(from_file), str(from_file))


def _noted(function: Callable[..., None]) -> Callable[..., None]:
    """The options that every way of calibrating takes, before the step's name or behind it."""

    @functools.wraps(function)
    def told(
        desk: Desk,
        /,
        by: str | None,
        water: str | None,
        note: str | None,
        *,
        yes: bool,
        **given: Any,
    ) -> None:
        desk.note(by, water, note, yes=yes)
        function(desk, **given)

    wrapped: Callable[..., None] = told
    for option in (
        click.option("--yes", is_flag=True, help="Store without asking."),
        click.option("--note", metavar="TEXT", help="Kept with the result."),
        click.option("--water", metavar="TEMP", help='Water temperature, "64 F" or "18 C".'),
        click.option("--by", metavar="NAME", help="Who calibrates; else the login name."),
        click.pass_obj,
    ):
        wrapped = option(wrapped)
    return wrapped


@command.command()
@click.option("--length", metavar="LENGTH", help='Of the course, "150 ft".')
@click.option("--time", "times", multiple=True, metavar="TIME", help="Of each run; repeat.")
@_noted
def course(desk: Desk, length: str | None, times: tuple[str, ...]) -> None:
    """Speed: time two runs or more over a measured length."""
    desk.step("course", {"length": length, "times": times or None})


@command.command(name="catch")
@click.option("--pressure", metavar="P", help='At the boom while catching, "40 psi".')
@click.option("--time", metavar="TIME", help="Of each catch.")
@click.option("--volume", "volumes", multiple=True, metavar="V", help="Of each tip from the left; "
              "'none' for one not caught.")  # fmt: skip
@click.option("--density", metavar="D", help="Relative density if it was not water.")
@click.option("--jug", metavar="SHARE", help='How true the jug is, "2 %".')
@click.option("--svg", type=_PATH, metavar="FILE", help="Write the picture of the tips too.")
@_noted
def catch(desk: Desk, /, svg: Path | None, **given: Any) -> None:
    """Tips: catch each one; names those to clean or replace."""
    results = desk.step("catch", {key: value or None for key, value in given.items()})
    if svg is not None:
        desk.write_svg(results.get("catch"), svg)


@command.command()
@click.option("--run", "runs", multiple=True, metavar="CAUGHT,PULSES,TIME",
              help='One run: "41.7 lb,8517,95 s" (or a volume); repeat.')  # fmt: skip
@click.option("--recording", "recordings", multiple=True, metavar="CAUGHT,FILE",
              help="One run counted from a recording; repeat.")  # fmt: skip
@click.option("--jug", metavar="SHARE", help='How true the jug is, "2 %".')
@click.option("--scales", metavar="SHARE", help='How true the scales are, "0.2 %".')
@click.option("--believe", is_flag=True, help="Take a factor far from the rig file's.")
@_noted
def meter(
    desk: Desk,
    runs: tuple[str, ...],
    recordings: tuple[str, ...],
    jug: str | None,
    scales: str | None,
    *,
    believe: bool,
) -> None:
    """Flow sensor: pulses against a weighed or caught volume."""
    table = [_fields("--run", one, ("caught", "pulses", "time")) for one in runs]
    table += [_fields("--recording", one, ("caught", "recording")) for one in recordings]
    given = {"runs": table or None, "jug": jug, "scales": scales}
    desk.step("meter", given | ({"believe": "yes"} if believe else {}), needs="runs")


@command.command()
@click.option("--point", "points", multiple=True, metavar="P,CODE",
              help='Reference and ADC code: "0 psi,115.1", or a recording; repeat.')  # fmt: skip
@click.option("--reading", metavar="P", help='How finely the reference is read, "0.5 psi".')
@click.option("--reference", metavar="SHARE", help='How true the reference is, "1 %".')
@_noted
def gauge(desk: Desk, points: tuple[str, ...], reading: str | None, reference: str | None) -> None:
    """Pressure sensor: zero and span against a reference gauge."""
    table = [_fields("--point", one, ("reference", "code")) for one in points]
    given = {"points": table or None, "reading": reading, "reference": reference}
    desk.step("gauge", given, needs="points")


@command.command()
@click.option("--recording", metavar="FILE", help="Of a water run at three pressures or more.")
@click.option("--density", metavar="D", help="Relative density if it was not water.")
@_noted
def baseline(desk: Desk, recording: str | None, density: str | None) -> None:
    """Healthy boom: a water run that clogged tips are told by afterwards."""
    desk.step("baseline", {"recording": recording, "density": density}, needs="recording")


@command.command()
@click.option("--recording", metavar="FILE", help="Of sprayings with all tips, one capped, all "
              "again; the boom shut in between.")  # fmt: skip
@_noted
def capped(desk: Desk, recording: str | None) -> None:
    """Capped tip: proves that a blocked tip is seen, and how the pressure answers."""
    desk.step("capped", {"recording": recording}, needs="recording")


@command.command()
@click.argument("numbers", nargs=-1, type=int, metavar="[NUMBER NUMBER]")
@click.option("--kind", type=click.Choice(_STEPS))
@click.pass_obj
def history(desk: Desk, numbers: tuple[int, ...], kind: str | None) -> None:
    """All calibrations; with two numbers, one beside the other."""
    if len(numbers) not in (0, 2):
        raise click.UsageError("give two numbers to compare, or none for the list")
    desk.history(kind, numbers)


@command.command()
@click.argument("number", type=int, required=False)
@click.option("--svg", type=_PATH, metavar="FILE", help="Write a catch's picture to FILE.")
@click.pass_obj
def show(desk: Desk, number: int | None, svg: Path | None) -> None:
    """One calibration with all that it rests on; without NUMBER, those in use."""
    desk.show(number, svg)


def _fields(option: str, text: str, names: tuple[str, ...]) -> dict[str, str]:
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != len(names):
        raise click.UsageError(f"{option} '{text}': {','.join(names).upper()} is wanted")
    return dict(zip(names, parts, strict=True))
