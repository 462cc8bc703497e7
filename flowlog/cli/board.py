"""`flowlog board check PORT`: whether a board speaks the protocol, rule by rule."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from flowlog.wire.conformance.judge import Report


@click.group(name="board")
def command() -> None:
    """The board itself, for the person who builds it or writes its firmware."""


@command.command(name="check")
@click.argument("port", metavar="PORT|FILE.flog")
@click.option("--baud", default=115_200, show_default=True, help="Line speed.")
@click.option(
    "--seconds",
    type=click.FloatRange(1.0, 86_400.0),
    default=20.0,
    show_default=True,
    help="Listen so long before saying anything; 130 shows the hello of the minute as well.",
)
@click.option("--restart", is_flag=True, help="Ask you to restart the board, and judge its start.")
@click.option("--json", "as_json", is_flag=True, help="The findings as JSON.")
@click.pass_context
def check(
    ctx: click.Context, port: str, baud: int, seconds: float, *, restart: bool, as_json: bool
) -> None:
    """Say whether the board on PORT speaks the protocol, and what to change where it does not.

    Listens, asks for hellos, sends lamp and buzzer patterns, wrong checksums and garbage. Each
    rule has the number that it has in firmware-notes/protocol.md. Of a recording (FILE.flog) only
    what needs no talking and no clock is judged.

    Ends with 0 if nothing is wrong, 1 if something is, 2 if the board could not be listened to.
    """
    report = (
        _of_file(Path(port)) if Path(port).is_file() else _of_port(port, baud, seconds, restart)
    )
    if as_json:
        body: dict[str, Any] = {"port": port, **report.body()}
        click.echo(json.dumps(body, indent=2, ensure_ascii=False))
    else:
        click.echo(report.text())
    ctx.exit(1 if report.failed else 0)


def _of_file(path: Path) -> Report:
    from flowlog.link.errors import RecordingError
    from flowlog.link.recording import read_recording
    from flowlog.wire.conformance.judge import judge

    _, chunks = read_recording(path)
    report = judge((None, chunk) for chunk in chunks)
    if not report.bytes:
        raise RecordingError(f"{path}: holds no byte of a board")
    return report


def _of_port(port: str, baud: int, seconds: float, restart: bool) -> Report:
    from flowlog.link.boardcheck import BoardCheck
    from flowlog.link.port import Port
    from flowlog.link.recorder import StopSignals

    source = Port(port, baud)
    live = sys.stderr.isatty()
    board = BoardCheck(source, seconds, restart=restart)
    with StopSignals() as stop:
        try:
            for said in board.run(stop.is_set):
                if said.passing and not live:
                    continue
                over = "\r\x1b[K" if live else ""
                click.echo(over + said.text, err=True, nl=not said.passing)
        finally:
            source.close()
            if live:
                click.echo("\r\x1b[K", err=True, nl=False)
    return board.report()
