"""Files for other programs: whole or not at all."""

from __future__ import annotations

import contextlib
import io
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO, TextIO

from flowlog.errors import FlowlogError


class WriteError(FlowlogError):
    """A file that was asked for cannot be written."""


class Counted(io.TextIOBase):
    """A text file that tells how many lines were written into it so far."""

    def __init__(self, out: TextIO, tell: Callable[[int], None]) -> None:
        self._out, self._tell = out, tell
        self._lines = 0

    def write(self, text: str) -> int:
        self._lines += text.count("\n")
        self._tell(self._lines)
        return self._out.write(text)


def write_whole(path: Path, write: Callable[[TextIO], None]) -> None:
    """Write a text file beside its name and rename it, so that nobody reads half of one.

    Raises:
        WriteError: the folder is missing, may not be written, or is full.
    """

    def encoded(out: BinaryIO) -> None:
        with io.TextIOWrapper(out, encoding="utf-8", newline="") as text:
            write(text)

    write_whole_bytes(path, encoded)


def write_whole_bytes(path: Path, write: Callable[[BinaryIO], object]) -> None:
    """The same for a file that is no text.

    Raises:
        WriteError: the folder is missing, may not be written, or is full.
    """
    if path.exists() and not path.is_file():
        # A pipe or a device is written as it is.
        with _told(path), path.open("wb") as out:
            write(out)
        return
    with _told(path):
        handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        begun = Path(name)
        try:
            with os.fdopen(handle, "wb") as out:
                write(out)
            begun.chmod(path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
            begun.replace(path)
        except BaseException:
            begun.unlink(missing_ok=True)
            raise


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise WriteError(f"{path}: cannot be written: {error.strerror or error}") from error


def _umask() -> int:
    umask = os.umask(0)
    os.umask(umask)
    return umask
