"""A file that takes up space, to be thrown overboard when the disk is full.

A full disk stops even a deletion, because that too is first written to the log. The ballast's
space lets small commits (events, marks) and a prune go through.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Final

BALLAST_FILE: Final = "flowlog.ballast"
BALLAST_BYTES: Final = 2 * 64 * 4096
"""As long as the log may grow between two checkpoints, twice."""
ENOUGH_BYTES: Final = 4 * BALLAST_BYTES
"""Free space at which the ballast is taken aboard again."""


class Ballast:
    """`aboard` is False from when space ran out until there is enough again."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / BALLAST_FILE
        self._folder = folder
        self.aboard = self._complete()
        self.take()

    def free_bytes(self) -> int:
        """Free space on the folder's disk."""
        return shutil.disk_usage(self._folder).free

    def drop(self) -> None:
        """Give the space back. Never raises: it runs when things already go wrong."""
        self.aboard = False
        try:
            self._path.unlink(missing_ok=True)
        except OSError:
            return

    def take(self) -> None:
        """Put the file back if there is plenty of space. Never raises."""
        try:
            if self.aboard or self.free_bytes() < ENOUGH_BYTES:
                return
            with self._path.open("wb") as file:
                file.write(os.urandom(BALLAST_BYTES))  # noise: no file system can compress it
                file.flush()
                os.fsync(file.fileno())
        except OSError:
            self.drop()
        else:
            self.aboard = True

    def _complete(self) -> bool:
        try:
            return self._path.stat().st_size >= BALLAST_BYTES
        except OSError:
            return False
