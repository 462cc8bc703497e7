"""The person at the terminal, for the guided calibration."""

from __future__ import annotations

import select
import shutil
import sys
import textwrap

from rich.console import Console, RenderableType

from flowlog.calibrating.interview import Left
from flowlog.errors import FlowlogError


class NoTerminalError(FlowlogError):
    """Questions can only be asked where somebody can answer."""


class Terminal:
    """A `Talk` on standard input and output."""

    def __init__(self) -> None:
        self._console = Console(highlight=False)
        self._progress = 0
        self._shown = ""

    @property
    def _width(self) -> int:
        return max(min(shutil.get_terminal_size().columns, 100) - 1, 40)

    def say(self, text: str) -> None:
        self.progress("")
        indent = "  " if text.startswith("  ") else ""
        lines = textwrap.wrap(text, self._width, subsequent_indent=indent) or [""]
        style = "bold" if text.startswith("CAUTION") else None
        for line in lines:
            self._console.print(line, style=style, markup=False)

    def show(self, shown: RenderableType) -> None:
        self.progress("")
        self._console.print(shown)

    def line(self, prompt: str) -> str:
        self.progress("")
        try:
            return input(prompt)
        except (EOFError, KeyboardInterrupt):
            print(file=sys.stdout)  # noqa: T201 - the cursor stands behind the prompt
            raise Left from None

    def progress(self, text: str) -> None:
        if not sys.stdout.isatty() or (text and text == self._shown):
            return
        self._shown = text
        if text:
            shown = text[: self._width]
            sys.stdout.write("\r" + shown.ljust(self._progress))
            self._progress = len(shown)
        elif self._progress:
            sys.stdout.write("\r" + " " * self._progress + "\r")
            self._progress = 0
        sys.stdout.flush()

    def pressed(self) -> bool:
        if not sys.stdin.isatty():
            return False
        ready, _, _ = select.select([sys.stdin], [], [], 0)
        if not ready:
            return False
        if not sys.stdin.readline():
            raise Left
        return True
