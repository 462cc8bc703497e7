"""One daemon for one folder: a lock that the kernel drops when its holder dies."""

from __future__ import annotations

import errno
import fcntl
import os
import time
from pathlib import Path
from typing import Final

from flowlog.store.errors import StoreBusyError, StoreError, StoreFullError, StoreReadOnlyError

LOCK_FILE: Final = "flowlog.lock"
_TRIES: Final = 10
_PAUSE_S: Final = 0.01


class FolderLock:
    """Held from construction until `release`. The file names the holder's process id.

    `flock` and not `lockf`: the latter is lost as soon as the same process closes any other
    descriptor of the file.
    """

    def __init__(self, folder: Path) -> None:
        """
        Raises:
            StoreBusyError: another process holds it; names the process.
            StoreReadOnlyError, StoreFullError: the lock file cannot be made.
        """
        path = folder / LOCK_FILE
        try:
            self._fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as fault:
            raise _named(path, fault) from fault
        try:
            _hold(self._fd)
        except OSError as fault:
            holder = os.read(self._fd, 32).decode("ascii", "replace").strip()
            os.close(self._fd)
            who = f"process {holder}" if holder else "another process"
            raise StoreBusyError(
                f"{folder}: {who} already logs into this folder; stop it first, or give this rig "
                "a data_folder of its own"
            ) from fault
        try:
            os.ftruncate(self._fd, 0)
            os.pwrite(self._fd, f"{os.getpid()}\n".encode(), 0)
        except OSError:
            # A full disk: the lock holds all the same, only its note of the holder is missing.
            os.ftruncate(self._fd, 0)

    def release(self) -> None:
        """Let go. Doing it twice does no harm."""
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1


def _hold(fd: int) -> None:
    """Take the lock; whoever only looks (`is_locked`) has it for a moment too."""
    for _ in range(_TRIES - 1):
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            time.sleep(_PAUSE_S)
        else:
            return
    fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)


def is_locked(folder: Path) -> bool:
    """Whether a daemon logs into this folder now. Works on a read-only file system."""
    try:
        fd = os.open(folder / LOCK_FILE, os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return False
    try:
        fcntl.flock(fd, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(fd)
    return False


def _named(path: Path, fault: OSError) -> StoreError:
    if fault.errno in {errno.EROFS, errno.EACCES, errno.EPERM}:
        return StoreReadOnlyError(f"{path}: cannot be written ({fault.strerror})")
    if fault.errno in {errno.ENOSPC, errno.EDQUOT}:
        return StoreFullError(f"{path}: no space left on the disk")
    return StoreError(f"{path}: {fault.strerror}")
