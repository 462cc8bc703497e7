"""`flowlog watch`: the live view of a rig that runs on this machine."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="watch")
@click.argument("rig_file", required=False, type=click.Path(path_type=Path), metavar="[RIGFILE]")
@click.option("--rig", type=click.Path(path_type=Path), help="The same as RIGFILE.")
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    help="The rig's data folder, or the folder that holds several of them.",
)
@click.option("--lines", is_flag=True, help="One plain line a second, also on a terminal.")
def command(rig_file: Path | None, rig: Path | None, data: Path | None, *, lines: bool) -> None:
    """Show what a rig does now: rate against the asked one, pressure, alerts.

    Only reads what the daemon has stored, so it can be started and ended at any time. Leave with
    q or Ctrl-C. Without a terminal it prints one plain line a second.
    """
    import sys
    import time

    from flowlog.daemon.codes import CODES as DAEMON_CODES
    from flowlog.monitor.codes import CODES
    from flowlog.review.find import choose_folder
    from flowlog.review.live import LiveReader
    from flowlog.review.live_state import LiveState
    from flowlog.review.terminal import as_lines, full_console, on_screen

    folder = choose_folder(rig or rig_file, data)
    reader = LiveReader(folder, {**CODES, **DAEMON_CODES})
    try:
        # A first look before the screen is taken over: what is wrong with the store is then
        # said where it stays readable.
        reader.look(time.time_ns() // 1000, time.monotonic())

        def look() -> LiveState:
            return reader.look_or_last(time.time_ns() // 1000, time.monotonic())

        console = full_console()
        if console.is_terminal and sys.stdout.isatty() and not lines:
            on_screen(look, console)
        else:
            as_lines(look, click.echo)
    finally:
        reader.close()
