"""What a command is at, for those who have to wait: on a terminal, and only after a second."""

from __future__ import annotations

from threading import Lock, Timer
from types import TracebackType
from typing import Final

from rich.console import Console

WAIT_S: Final = 1.0
"""Who waits less needs no explanation."""


class Progress:
    """Use with `with`; whatever is said last is shown until the next thing is said.

    Nothing is written where standard error is no terminal.
    """

    def __init__(self, console: Console | None = None, wait_s: float = WAIT_S) -> None:
        self._console = Console(stderr=True) if console is None else console
        self._status = self._console.status("")
        self._timer = Timer(wait_s, self._show)
        self._timer.daemon = True
        self._lock = Lock()
        self._over = False

    def __enter__(self) -> Progress:
        if self._console.is_terminal:
            self._timer.start()
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _where: TracebackType | None,
    ) -> None:
        self.done()

    def says(self, text: str) -> None:
        """For instance "reading the route"."""
        self._status.update(f"{text} ...")

    def done(self) -> None:
        """The waiting is over: what was shown is taken away. More than once does no harm."""
        self._timer.cancel()
        with self._lock:
            self._over = True
            self._status.stop()

    def _show(self) -> None:
        with self._lock:
            if not self._over:
                self._status.start()
