"""Bytes to lines, bounded: whatever arrives, at most one line's worth of bytes is kept."""

from __future__ import annotations

from typing import Final

from flowlog.wire.records import MAX_LINE

_ROOM: Final = MAX_LINE - 1  # the LF takes the last byte


class LineSplitter:
    """Cuts a byte stream at LF, without the LF.

    A line that outgrows `MAX_LINE` is handed over once, truncated to `MAX_LINE` bytes, as soon
    as it is known to be too long; the rest of it, up to its LF, is counted and forgotten. So
    the time is linear in the bytes fed and the memory kept is bounded, with or without an LF.
    """

    __slots__ = ("_skipping", "_tail", "overlong_bytes")

    def __init__(self) -> None:
        self._tail = b""
        self._skipping = False
        self.overlong_bytes = 0
        """Bytes of lines that were too long, their LF not included."""

    def feed(self, data: bytes) -> list[bytes]:
        """Lines that `data` completes. One of `MAX_LINE` bytes is the head of a too long one."""
        if self._skipping:
            end = data.find(b"\n")
            if end < 0:
                self.overlong_bytes += len(data)
                return []
            self.overlong_bytes += end
            self._skipping = False
            data = data[end + 1 :]
        lines = (self._tail + data).split(b"\n")
        self._tail = lines.pop()
        if max(map(len, lines), default=0) > _ROOM:
            lines = [self._bound(line) for line in lines]
        if len(self._tail) > _ROOM:
            lines.append(self._bound(self._tail))
            self._tail = b""
            self._skipping = True
        return lines

    def drop(self) -> int:
        """Forget the begun line, for instance when the port was lost. Number of bytes dropped."""
        dropped = len(self._tail)
        self._tail = b""
        self._skipping = False
        return dropped

    def _bound(self, line: bytes) -> bytes:
        if len(line) <= _ROOM:
            return line
        self.overlong_bytes += len(line)
        return line[:MAX_LINE]
