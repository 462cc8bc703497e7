"""A pseudo-terminal that an emulated board speaks through, so that it looks like a serial port."""

from __future__ import annotations

import os
import tty
from pathlib import Path
from typing import Final

from flowlog.link.errors import LinkError

_READ: Final = 4096


class Terminal:
    """The board's end of a serial line; `path` is the port that a host opens.

    Like a board, it never waits for the host: what the line does not take is dropped and counted.

    Args:
        link: A stable name for the port. A link left behind by an earlier run is replaced,
            anything else of that name is not.

    Raises:
        LinkError: `link` cannot be made.
    """

    def __init__(self, link: Path | str | None = None) -> None:
        self._master, self._slave = os.openpty()
        # Raw at both ends, or the line discipline echoes and maps CR. The slave stays open here,
        # or writing fails whenever no host has the port open.
        tty.setraw(self._master)
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self._target = os.ttyname(self._slave)
        self._link = Path(link) if link is not None else None
        self._pending = b""
        self._closed = False
        self.dropped = 0
        """Bytes that the line did not take."""
        if self._link is not None:
            try:
                self._make_link(self._link)
            except BaseException:
                self.close()
                raise

    @property
    def path(self) -> str:
        """The port for the host to open."""
        return str(self._link) if self._link is not None else self._target

    def write(self, data: bytes) -> int:
        """Send to the host; the number of bytes dropped.

        A piece that was begun is finished before another is taken, so that a line is lost
        whole and not glued to a later one.
        """
        self._pending = self._push(self._pending)
        if self._pending:
            self.dropped += len(data)
            return len(data)
        self._pending = self._push(data)
        if len(self._pending) == len(data):
            self._pending = b""
            self.dropped += len(data)
            return len(data)
        return 0

    def read(self) -> bytes:
        """What the host has sent, without waiting."""
        pieces: list[bytes] = []
        while True:
            try:
                piece = os.read(self._master, _READ)
            except BlockingIOError:
                break
            if not piece:
                break
            pieces.append(piece)
        return b"".join(pieces)

    def close(self) -> None:
        """Hang up and remove the link; may be called twice."""
        if self._closed:
            return
        self._closed = True
        if self._link is not None and self._is_ours(self._link):
            self._link.unlink(missing_ok=True)
        os.close(self._slave)
        os.close(self._master)

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _push(self, data: bytes) -> bytes:
        """Write what the line takes and give back the rest."""
        while data:
            try:
                done = os.write(self._master, data)
            except BlockingIOError:
                break
            data = data[done:]
        return data

    def _is_ours(self, link: Path) -> bool:
        return link.is_symlink() and str(link.readlink()) == self._target

    def _make_link(self, link: Path) -> None:
        if os.path.lexists(link):
            if not link.is_symlink():
                raise LinkError(f"{link}: exists and is not a link; give another name")
            if not str(link.readlink()).startswith("/dev/pts/"):
                raise LinkError(f"{link}: links to something else; give another name")
        # Made aside and moved, so that the name never points nowhere.
        aside = link.with_name(f".{link.name}.{os.getpid()}")
        try:
            aside.unlink(missing_ok=True)
            aside.symlink_to(self._target)
            aside.replace(link)
        except OSError as error:
            raise LinkError(f"{link}: cannot be made: {error.strerror}") from None
