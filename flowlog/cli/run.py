"""`flowlog run`: the daemon."""

from __future__ import annotations

import os
import signal
from pathlib import Path
from types import FrameType

import click


@click.command(name="run")
@click.argument("rig_file", type=click.Path(path_type=Path), metavar="RIGFILE")
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Log into this folder instead of the rig's own.",
)
@click.option("--port", metavar="PORT", help="The board's port instead of the rig file's.")
@click.option(
    "--until-idle",
    type=click.FloatRange(min=0.5),
    metavar="SECONDS",
    help="End, and end the route, when nothing came for so long.",
)
@click.option(
    "--commit-every",
    type=click.FloatRange(0.2, 60.0),
    default=1.0,
    show_default=True,
    metavar="SECONDS",
    help="Write so often: a cut of power loses so much. Alerts are written at once.",
)
@click.option(
    "--keep-raw-days",
    type=click.IntRange(1, 36_500),
    envvar="FLOWLOG_KEEP_RAW_DAYS",
    metavar="DAYS",
    help="Delete the raw samples of routes that ended longer ago; else all are kept. Readings, "
    "alerts and records stay; what needs raw samples (alerts explained, a route derived anew, the "
    "chart below a second) is then no more.",
)
@click.option("-v", "--verbose", is_flag=True, help="Log details too.")
def command(
    rig_file: Path,
    data: Path | None,
    port: str | None,
    until_idle: float | None,
    commit_every: float,
    keep_raw_days: int | None,
    *,
    verbose: bool,
) -> None:
    """Watch the rig described by RIGFILE: read the board, log, raise alerts.

    Runs until it is stopped (Ctrl-C, or SIGTERM from a service manager). Waits for the port when
    it is not there, and goes on by itself when it is back.
    """
    from flowlog.daemon.logs import set_up
    from flowlog.daemon.service import Service
    from flowlog.link.port import Port
    from flowlog.rig.folders import resolve_data_folder
    from flowlog.rig.reader import read_rig

    rig = read_rig(rig_file)
    set_up(verbose)
    service = Service(
        rig,
        rig_file.read_text(encoding="utf-8"),
        (data or resolve_data_folder(rig)).absolute(),
        Port(port or rig.board.port, rig.board.baud),
        commit_every_s=commit_every,
        until_idle_s=until_idle,
        keep_raw_days=keep_raw_days,
    )

    def end(_number: int, _frame: FrameType | None) -> None:
        if service.stopping:
            # Asked twice: somebody does not want to wait for the disk.
            os._exit(1)
        service.stop()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)
    service.run()
