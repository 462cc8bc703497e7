"""The command line: one module a command, imported only when that command runs."""

from __future__ import annotations

import importlib
from typing import Any, Final

import click

from flowlog import __version__
from flowlog.errors import FlowlogError

COMMANDS: Final[dict[str, str]] = {
    "demo": "See the whole job run on a simulated rig, in under a minute.",
    "rig": "Check a rig file and show what follows from it.",
    "calibrate": "Course, tips, meter, gauge and healthy boom: guided or step by step.",
    "plan": "Reach another rate; water and product for each fill of the tank.",
    "run": "Watch a rig: read the board, log, raise alerts. The daemon.",
    "watch": "Live view of the rig that is running on this machine.",
    "serve": "The pages for phone and screen: live while spraying, routes afterwards.",
    "review": "Look at a route afterwards: stops, rates, alerts; export.",
    "explain": "What one alert rested on: evidence, alternatives, threshold, checks.",
    "report": "A route or a stop as PDF or HTML: to print, to file, to hand over.",
    "correct": "Put a route right afterwards: stops, areas, calibrations.",
    "sheet": "Application records: fill in, amend, print.",
    "stop": "Mark where a stop begins, ends, or what it is called.",
    "fill": "Note that the tank was filled.",
    "board": "Check whether a board speaks the protocol, and what to change.",
    "record": "Write down the bytes that a board sends, as they come.",
    "replay": "Run a recording through the monitor, as fast as it goes.",
    "simulate": "A simulated rig and board, on a pseudo-terminal or into a file.",
}
"""Command name to its one-line help; the module of the same name holds `command`."""


class _LazyGroup(click.Group):
    """A group that knows its commands' names without importing their modules."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"flowlog.cli.{cmd_name}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except FlowlogError as error:
            click.echo(f"flowlog: {error}", err=True)
            ctx.exit(2)


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="flowlog")
def main() -> None:
    """Watch the output of a small boom sprayer while it works.

    Start with `flowlog demo`. The label is the law; wear what it asks for; calibrate with clean
    water only.
    """
