"""A large text sent while it is made, so that it is never held whole."""

from __future__ import annotations

import io
import queue
import threading
from collections.abc import Callable, Iterator
from typing import Final, TextIO, cast

_CHUNK: Final = 64 * 1024
_AHEAD: Final = 4
_LOOK_S: Final = 1.0


class _Out(io.TextIOBase):
    """A file for one writer; what is written goes into a queue, in pieces."""

    def __init__(self, pieces: queue.Queue[str | Exception | None], gone: threading.Event) -> None:
        self._pieces, self._gone = pieces, gone
        self._held: list[str] = []
        self._size = 0

    def write(self, text: str) -> int:
        self._held.append(text)
        self._size += len(text)
        if self._size >= _CHUNK:
            self.flush()
        return len(text)

    def flush(self) -> None:
        text, self._held, self._size = "".join(self._held), [], 0
        if text:
            self.put(text)

    def put(self, piece: str | Exception | None) -> None:
        """Wait until there is room, or nobody takes it any more."""
        while not self._gone.is_set():
            try:
                self._pieces.put(piece, timeout=_LOOK_S)
            except queue.Full:
                continue
            return
        raise BrokenPipeError


def piecewise(write: Callable[[TextIO], None]) -> Iterator[str]:
    """What `write` writes into the file that it is given, in pieces, as they are taken.

    Whatever `write` raises is raised where the pieces are taken.
    """
    pieces: queue.Queue[str | Exception | None] = queue.Queue(maxsize=_AHEAD)
    gone = threading.Event()

    def run() -> None:
        out = _Out(pieces, gone)
        end: Exception | None = None
        try:
            write(cast("TextIO", out))
            out.flush()
        except BrokenPipeError:
            return
        except Exception as error:  # noqa: BLE001 - raised again where it is waited for
            end = error
        try:
            out.put(end)
        except BrokenPipeError:
            return

    threading.Thread(target=run, daemon=True).start()
    try:
        while (piece := pieces.get()) is not None:
            if isinstance(piece, Exception):
                raise piece
            yield piece
    finally:
        gone.set()
