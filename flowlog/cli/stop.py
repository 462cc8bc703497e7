"""`flowlog stop`: the operator's marks of the stops of a route."""

from __future__ import annotations

import time
from pathlib import Path

import click


@click.command(name="stop")
@click.argument("name", required=False)
@click.option("--end", is_flag=True, help="The stop ends here.")
@click.option("--rename", is_flag=True, help="Name the stop in work; nothing begins.")
@click.option("--area", metavar="AREA", help='Its area where you know it: "12000 ft2".')
@click.option(
    "--rig", "rig_file", type=click.Path(path_type=Path), metavar="RIGFILE", help="Which rig."
)
@click.option("--data", type=click.Path(path_type=Path), metavar="FOLDER", help="Its data folder.")
def command(
    name: str | None,
    area: str | None,
    rig_file: Path | None,
    data: Path | None,
    *,
    end: bool,
    rename: bool,
) -> None:
    """Mark where a stop begins, ends, or what it is called.

    `flowlog stop "Park, north lawn"` begins a stop of that name, `flowlog stop --end` ends it.
    Pauses in the spraying separate stops without any mark.
    """
    from flowlog.daemon.inbox import LARGEST_AREA_M2, LONGEST_NAME, Mark, leave, new_uid
    from flowlog.review.find import choose_folder
    from flowlog.store.rows import StopKind
    from flowlog.units import parse

    if end and (rename or name):
        raise click.UsageError("--end takes no name (name it with --rename before it ends)")
    # What the shell passed may hold bytes that are no text.
    clean = None if name is None else name.encode("utf-8", "replace").decode("utf-8").strip()
    area_m2 = None if area is None else parse(area, "area")
    if area_m2 is not None and not 0 < area_m2 <= LARGEST_AREA_M2:
        raise click.BadParameter(f"'{area}' is no stop's area", param_hint="--area")
    if (rename and not clean and area_m2 is None) or (name is not None and not clean):
        raise click.UsageError('a name is missing: flowlog stop --rename "Park, north lawn"')
    if clean is not None and len(clean) > LONGEST_NAME:
        raise click.UsageError(f"the name has {len(clean)} characters, {LONGEST_NAME} are enough")
    folder = choose_folder(rig_file, data)
    kind: StopKind = "end" if end else "name" if rename else "begin"
    now_us = time.time_ns() // 1000
    leave(folder, Mark("stop", now_us, new_uid(), kind=kind, name=clean, area_m2=area_m2))
    said = {"end": "The stop ends here.", "begin": "A stop begins here"}.get(kind, "The stop is")
    if area_m2 is not None and not clean and not end:
        said = "A stop begins here, its area is noted" if kind == "begin" else "Its area is noted"
    click.echo(said if end else f"{said}{': ' if clean else '.'}{clean or ''}")
    say_if_nobody_listens(folder)


def say_if_nobody_listens(folder: Path) -> None:
    """A mark left while no daemon runs is taken at its next start."""
    from flowlog.store.lock import is_locked

    if not is_locked(folder):
        click.echo("No daemon logs here now: it takes the mark when it starts next.", err=True)
