"""`flowlog demo`: the whole job on a simulated rig, in under a minute."""

from __future__ import annotations

import signal
import time
from pathlib import Path
from types import FrameType

import click


@click.command(name="demo")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Where everything goes; ./flowlog-demo by default, numbered if that is there.",
)
@click.option(
    "--broker",
    envvar="FLOWLOG_BROKER",
    metavar="HOST[:PORT]",
    help="Publish over MQTT to this broker too (or set FLOWLOG_BROKER).",
)
@click.option(
    "--pace",
    default=None,
    metavar="real|N",
    help="Real time (a quarter of an hour), or N times as fast. Default: 30.",
)
@click.option("--lines", is_flag=True, help="Plain lines instead of the live screen.")
@click.pass_context
def command(
    ctx: click.Context, folder: Path | None, broker: str | None, pace: str | None, *, lines: bool
) -> None:
    """Watch a simulated rig spray three stops; in the second one a tip clogs.

    The simulated board, on a pseudo-terminal, and the daemon run as processes of their own, as
    they would on a machine. Nothing to set up and no broker needed. Exit code 0: the clogged tip
    was reported; 1: it was not, or something failed.
    """
    from flowlog.demo.setting import Setting, host_and_port, make_folder, write_rig
    from flowlog.demo.story import QUICK, play
    from flowlog.errors import FlowlogError

    speed = _speed(pace, QUICK)
    if broker:
        host_and_port(broker)

    def leave(number: int, _frame: FrameType | None) -> None:
        # Unwinds through the `with` that ends the processes.
        raise SystemExit(128 + number)

    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, leave)
    began_s = time.monotonic()
    setting = Setting(make_folder(folder))
    write_rig(setting, broker)
    click.echo(
        f"A simulated rig sprays three stops at {speed:g} times the real speed; a tip will clog. "
        "Simulated board and daemon start ..."
    )
    try:
        play(setting, speed, click.echo, lines=lines)
    except KeyboardInterrupt:
        click.echo("flowlog: ended by you; its processes are ended too", err=True)
        ctx.exit(130)
    except FlowlogError as error:
        click.echo(f"flowlog: the demonstration failed: {error}", err=True)
        ctx.exit(1)
    _next(setting, time.monotonic() - began_s)


def _speed(pace: str | None, quick: float) -> float:
    if pace is None:
        return quick
    if pace == "real":
        return 1.0
    try:
        speed = float(pace.removesuffix("x"))
    except ValueError:
        speed = 0.0
    if not 0.1 <= speed <= 200:
        raise click.BadParameter(f"'{pace}' is not real, or a number from 0.1 to 200")
    return speed


def _next(setting: object, took_s: float) -> None:
    from flowlog.demo.setting import Setting, typed

    assert isinstance(setting, Setting)
    rig = setting.rig_file
    click.echo(f"\nThat took {took_s:.0f} s. Everything is in {setting.folder}")
    click.echo("What to try next:")
    for line in (
        typed("explain", "1", "--rig", rig),
        typed("serve", rig),
        typed("review", "last", "--rig", rig),
        typed("review", "last", "--rig", rig, "--csv", setting.folder / "readings.csv"),
        typed("replay", "last", "--rig", rig),
        typed("rig", rig),
    ):
        click.echo(f"  {line}")
