"""Puts tables and words on standard output, coloured only where somebody can see it."""

from __future__ import annotations

import contextlib
import errno
import io
import sys
from collections.abc import Iterator

from rich.console import Console, RenderableType

from flowlog.review.files import WriteError


def echo(shown: RenderableType) -> None:
    """Print for a terminal, or plain and 80 columns wide into a file or pipe.

    Raises:
        WriteError: nothing more can be written there.
    """
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A name in letters that this terminal does not have must not end the program.
        sys.stdout.reconfigure(errors="replace")
    console = Console(width=None if sys.stdout.isatty() else 80, highlight=False)
    with writing_out():
        console.print(shown)
        sys.stdout.flush()


@contextlib.contextmanager
def writing_out() -> Iterator[None]:
    """Failures of standard output in words; a reader that has had enough is none."""
    try:
        yield
    except OSError as error:
        if error.errno == errno.EPIPE:
            raise
        # What is left in the buffer would fail once more at the end, with a traceback.
        with contextlib.suppress(OSError):
            sys.stdout.close()
        raise WriteError(f"standard output cannot be written: {error.strerror}") from error
