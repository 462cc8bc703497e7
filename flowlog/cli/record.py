"""`flowlog record PORT FILE`: write down the bytes that a board sends, as they come."""

from __future__ import annotations

import sys
from pathlib import Path

import click


@click.command()
@click.argument("port")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--baud", default=115_200, show_default=True, help="Line speed.")
@click.option("--rig", default="", help="For the header: which rig.")
@click.option("--place", default="", help="For the header: where.")
@click.option("--notes", default="", help="For the header: anything worth knowing later.")
@click.option(
    "--seconds", type=click.FloatRange(min=0, min_open=True), help="Stop after so many seconds."
)
def command(
    port: str, file: Path, baud: int, rig: str, place: str, notes: str, seconds: float | None
) -> None:
    """Write down the bytes that a board sends on PORT into FILE (.flog), as they come.

    Nothing is changed and nothing is left out, so that a recording shows a fault exactly as it
    was. Stop with Ctrl-C. `flowlog replay FILE` runs the recording through the monitor.
    """
    from flowlog.link.port import Port
    from flowlog.link.recorder import Session, StopSignals

    header = {"rig": rig, "place": place, "notes": notes}
    source = Port(port, baud)
    live = sys.stderr.isatty()
    with StopSignals() as stop:
        session = Session(source, file, {k: v for k, v in header.items() if v})
        try:
            for said in session.run(stop.is_set, seconds, tell_every_s=1.0 if live else 10.0):
                # In a terminal the passing count stays on one line; in a log it is a line each.
                over = "\r\x1b[K" if live else ""
                click.echo(over + said.text, err=True, nl=not (live and said.passing))
        finally:
            source.close()
            if live:
                click.echo(err=True)
    click.echo(session.summary())
