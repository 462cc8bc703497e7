"""Notices when somebody opens a file, as a board notices that its port was opened.

A pseudo-terminal has no modem lines, so a board that resets on opening (its reset pin hangs on
DTR) is imitated by watching the port's file with inotify. Linux only, as flowlog itself.
"""

from __future__ import annotations

import ctypes
import os
import struct
from pathlib import Path
from typing import Final

from flowlog.errors import FlowlogError

_IN_OPEN: Final = 0x20
_EVENT: Final = struct.Struct("iIII")


class OpenWatch:
    """Counts openings of one file from now on.

    Raises:
        FlowlogError: The kernel does not let it be watched.
    """

    def __init__(self, path: str | Path) -> None:
        libc = ctypes.CDLL(None, use_errno=True)
        self._descriptor = libc.inotify_init1(os.O_NONBLOCK | os.O_CLOEXEC)
        real = os.fsencode(Path(path).resolve())
        if self._descriptor < 0 or libc.inotify_add_watch(self._descriptor, real, _IN_OPEN) < 0:
            reason = os.strerror(ctypes.get_errno())
            self.close()
            raise FlowlogError(f"{path}: cannot be watched for being opened: {reason}")

    def opened(self) -> int:
        """How often it was opened since the last call."""
        times = 0
        while True:
            try:
                data = os.read(self._descriptor, 4096)
            except BlockingIOError:
                return times
            at = 0
            while at < len(data):
                _, mask, _, name_length = _EVENT.unpack_from(data, at)
                times += bool(mask & _IN_OPEN)
                at += _EVENT.size + name_length

    def close(self) -> None:
        """May be called twice."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
