"""`flowlog fill`: the tank was filled."""

from __future__ import annotations

import time
from pathlib import Path

import click


@click.command(name="fill")
@click.argument("volume", required=False)
@click.option(
    "--rig", "rig_file", type=click.Path(path_type=Path), metavar="RIGFILE", help="Which rig."
)
@click.option("--data", type=click.Path(path_type=Path), metavar="FOLDER", help="Its data folder.")
def command(volume: str | None, rig_file: Path | None, data: Path | None) -> None:
    """Note that the tank was filled and holds VOLUME now, for instance "60 gal".

    Without VOLUME it was filled to the volume in the rig file.
    """
    from flowlog.cli.stop import say_if_nobody_listens
    from flowlog.daemon.inbox import Mark, leave, new_uid
    from flowlog.review.find import choose_folder

    volume_m3 = None
    if volume is not None:
        from flowlog.units import UnitError, parse

        volume_m3 = parse(volume, "volume")
        if not 0 <= volume_m3 <= 1000:
            raise UnitError(f"'{volume}' is not what a tank can hold")
    folder = choose_folder(rig_file, data)
    leave(folder, Mark("fill", time.time_ns() // 1000, new_uid(), volume_m3=volume_m3))
    click.echo(f"The tank holds {volume} now." if volume else "The tank is full now.")
    say_if_nobody_listens(folder)
