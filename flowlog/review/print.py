"""Puts tables and words on standard output, coloured only where somebody can see it."""

from __future__ import annotations

import sys

from rich.console import Console, RenderableType


def echo(shown: RenderableType) -> None:
    """Print for a terminal, or plain and 80 columns wide into a file or pipe."""
    console = Console(width=None if sys.stdout.isatty() else 80, highlight=False)
    console.print(shown)
