"""Shows the live state on a real terminal, or as plain lines where there is none."""

from __future__ import annotations

import contextlib
import os
import select
import signal
import sys
import termios
import time
import tty
from collections.abc import Callable, Iterator
from typing import Final

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from flowlog.review.live_state import LiveState
from flowlog.review.live_view import ASCII, BLOCKS, plain_line, screen

REFRESH_S: Final = 0.3

Look = Callable[[], LiveState]
Done = Callable[[], bool]


def full_console() -> Console:
    """A console on standard output that follows the terminal's real size.

    Some shells export COLUMNS and LINES, which are then those of the terminal at that time.
    """
    environ = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES")}
    return Console(_environ=environ)


def never() -> bool:
    """A `done` for a view that only its user ends."""
    return False


def on_screen(look: Look, console: Console, done: Done = never) -> bool:
    """Take over the terminal until q or Ctrl-C is pressed, or `done` says so.

    The terminal is given back as it was, also when `look` raises or a signal ends the program.

    Returns:
        Whether the user ended it.
    """
    marks = BLOCKS if console.encoding.startswith("utf") else ASCII
    with (
        _signals_as_exit(),
        _keys() as pressed,
        Live(console=console, screen=True, auto_refresh=False, redirect_stderr=False) as live,
    ):
        while not done():
            width, height = console.size
            lines = screen(look(), width, height, marks)
            live.update(Group(*_fitting(lines)), refresh=True)
            if pressed(REFRESH_S):
                return True
    return False


def as_lines(
    look: Look, write: Callable[[str], None], done: Done = never, every_s: float = 1.0
) -> None:
    """Write one plain line each `every_s` until `done` or Ctrl-C."""
    next_s = time.monotonic()
    with contextlib.suppress(KeyboardInterrupt):
        while not done():
            write(plain_line(look()))
            next_s = max(next_s + every_s, time.monotonic())
            while not done() and (rest_s := next_s - time.monotonic()) > 0:
                time.sleep(min(rest_s, 0.1))


def _fitting(lines: list[Text]) -> list[Text]:
    for line in lines:
        line.no_wrap = True
        line.overflow = "crop"
    return lines


@contextlib.contextmanager
def _keys() -> Iterator[Callable[[float], bool]]:
    """A function that waits for so many seconds and tells whether the user wants to leave.

    Keys come without Return and are not echoed; Ctrl-Z is held off, since a stopped program
    would leave the terminal in a state that its user cannot type in.
    """
    if not sys.stdin.isatty():
        yield _wait
        return
    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)
    stop_before = signal.signal(signal.SIGTSTP, signal.SIG_IGN)

    def pressed(seconds: float) -> bool:
        try:
            ready, _, _ = select.select([handle], [], [], seconds)
            if not ready:
                return False
            keys = os.read(handle, 64)
        except KeyboardInterrupt:
            return True
        # No bytes at all: the terminal is gone.
        return not keys or b"q" in keys.lower() or b"\x03" in keys

    try:
        tty.setcbreak(handle)
        yield pressed
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, before)
        signal.signal(signal.SIGTSTP, stop_before)


def _wait(seconds: float) -> bool:
    try:
        time.sleep(seconds)
    except KeyboardInterrupt:
        return True
    return False


@contextlib.contextmanager
def _signals_as_exit() -> Iterator[None]:
    """SIGTERM and SIGHUP unwind the program, so that it can give the terminal back."""

    def leave(number: int, _frame: object) -> None:
        raise SystemExit(128 + number)

    before = {number: signal.signal(number, leave) for number in (signal.SIGTERM, signal.SIGHUP)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
