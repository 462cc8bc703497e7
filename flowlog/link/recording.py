"""Recordings (.flog): a short text header, then the bytes exactly as they were received."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import BinaryIO, Final

from flowlog.link.errors import RecordingError
from flowlog.link.source import LinkEvent

FIRST_LINE: Final = "# flowlog recording 1"
KEYS: Final = ("started", "rig", "board", "firmware", "place", "notes")
"""Header keys with a fixed meaning; others (small letters and underscores) are kept."""

_KEY: Final = re.compile(r"[a-z][a-z_]{0,31}")
_MOST_LINES: Final = 64
_LONGEST: Final = 1024  # bytes of a header line
_SYNC_EVERY_S: Final = 1.0

Header = dict[str, str]


def read_recording(path: Path | str, chunk: int = 65_536) -> tuple[Header, Iterator[bytes]]:
    """The header, and the bytes in pieces of at most `chunk`.

    A recording that was cut off inside its data is read as far as it goes.

    Raises:
        RecordingError: no such file, not a recording, or a damaged header. The iterator raises
            it when the medium fails.
    """
    path = Path(path)
    try:
        file = path.open("rb")
    except OSError as error:
        raise RecordingError(f"{path}: cannot be read: {error.strerror}") from None
    try:
        header = _read_header(path, file)
    except OSError as error:
        file.close()
        raise RecordingError(f"{path}: cannot be read: {error.strerror}") from None
    except RecordingError:
        file.close()
        raise
    return header, _chunks(path, file, chunk)


def _read_header(path: Path, file: BinaryIO) -> Header:
    first = file.readline(_LONGEST)
    if first.rstrip(b"\r\n") != FIRST_LINE.encode():
        if not first:
            raise RecordingError(f"{path}: empty; a recording begins with '{FIRST_LINE}'")
        if re.fullmatch(rb"# flowlog recording \d+\s*", first):
            version = first.split()[-1].decode("ascii")
            raise RecordingError(
                f"{path}:1: recording version {version}; this flowlog reads version 1, "
                "a newer one is needed"
            )
        shown = first[:40].decode("ascii", "replace").strip()
        raise RecordingError(
            f"{path}:1: not a recording: begins with '{shown}' where '{FIRST_LINE}' must stand "
            "('flowlog record' writes recordings)"
        )
    header: Header = {}
    for number in range(2, _MOST_LINES + 2):
        line = file.readline(_LONGEST)
        if not line.endswith(b"\n"):
            break
        text = line.decode("utf-8", "replace").rstrip("\r\n")
        if text.rstrip() == "#":
            return header
        key, colon, value = text.removeprefix("#").strip().partition(":")
        if not text.startswith("#") or not colon or not _KEY.fullmatch(key):
            raise RecordingError(
                f"{path}:{number}: '{text[:40]}' is no header line: it must be '# key: value', "
                "and '#' alone must end the header"
            )
        header[key] = value.strip()
    raise RecordingError(f"{path}: the header has no end: a line with '#' alone must end it")


def _chunks(path: Path, file: BinaryIO, chunk: int) -> Iterator[bytes]:
    with file:
        while True:
            try:
                data = file.read(chunk)
            except OSError as error:
                raise RecordingError(f"{path}: reading stopped: {error.strerror}") from None
            if not data:
                return
            yield data


def check_new(path: Path) -> None:
    """Raises RecordingError unless `path` is a new name in a folder that is there."""
    if os.path.lexists(path):
        raise RecordingError(f"{path}: exists already and is not overwritten; give another name")
    if not path.parent.is_dir():
        raise RecordingError(f"{path}: there is no folder {path.parent}; make it first")


class RecordingWriter:
    """Writes a new recording; what is older than about a second survives a cut of power.

    Raises:
        RecordingError: the file exists already, cannot be made, or the disk is full.
        ValueError: a header key or value that cannot stand in a header.
    """

    def __init__(self, path: Path | str, header: Mapping[str, str]) -> None:
        self._path = Path(path)
        text = header_text(header)
        check_new(self._path)
        try:
            self._file = self._path.open("xb")
        except OSError as error:
            raise RecordingError(f"{self._path}: cannot be made: {error.strerror}") from None
        self.bytes_written = 0
        """Bytes of data, without the header."""
        self._put(text)
        self._sync()
        _sync_folder(self._path.parent)

    def write(self, data: bytes) -> None:
        """Add bytes as they were received."""
        self._put(data)
        self.bytes_written += len(data)
        if time.monotonic() - self._synced >= _SYNC_EVERY_S:
            self._sync()

    def close(self) -> None:
        """Write what is left and close; may be called twice."""
        if self._file.closed:
            return
        try:
            self._sync()
        finally:
            self._file.close()

    def __enter__(self) -> RecordingWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _put(self, data: bytes) -> None:
        try:
            self._file.write(data)
        except OSError as error:
            raise RecordingError(f"{self._path}: writing stopped: {error.strerror}") from None

    def _sync(self) -> None:
        self._synced = time.monotonic()
        try:
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise RecordingError(f"{self._path}: writing stopped: {error.strerror}") from None


def header_text(header: Mapping[str, str]) -> bytes:
    """The header as it stands in the file. A line break in a value becomes a space.

    Raises:
        ValueError: a key that is not small letters and underscores, or too much text.
    """
    lines = [FIRST_LINE]
    for key, value in header.items():
        if not _KEY.fullmatch(key):
            raise ValueError(f"header key '{key}' is not 1 to 32 small letters and underscores")
        line = f"# {key}: {' '.join(value.split())}"
        if len(line.encode()) >= _LONGEST - 1:
            raise ValueError(f"header '{key}' is longer than {_LONGEST - 40} bytes")
        lines.append(line)
    if len(lines) > _MOST_LINES:
        raise ValueError(f"more than {_MOST_LINES - 1} header keys")
    return "\n".join([*lines, "#", ""]).encode()


def _sync_folder(folder: Path) -> None:
    """Make the file's name itself survive a cut of power."""
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:
        return  # a folder that may be written to but not read
    try:
        os.fsync(descriptor)
    except OSError:
        pass  # not every file system can
    finally:
        os.close(descriptor)


class Recording:
    """A recording as a `Source`: gives its bytes as fast as they are asked for, then ends."""

    def __init__(self, path: Path | str, chunk: int = 65_536) -> None:
        self._path = Path(path)
        self._chunk = chunk
        self._data: Iterator[bytes] | None = None
        self._ended = False
        self.header: Header = {}

    @property
    def name(self) -> str:
        return str(self._path)

    @property
    def ended(self) -> bool:
        return self._ended

    def open(self) -> None:
        if self._data is None and not self._ended:
            self.header, self._data = read_recording(self._path, self._chunk)

    def read(self, timeout_s: float = 0.25) -> bytes:
        """The next piece; b"" at the end, when `ended` becomes true."""
        del timeout_s  # nothing to wait for
        self.open()
        data = next(self._data, b"") if self._data is not None else b""
        self._ended = not data
        return data

    def write(self, data: bytes) -> bool:
        """A recording takes nothing."""
        del data
        return False

    def take_events(self) -> list[LinkEvent]:
        return []

    def close(self) -> None:
        self._ended = True
        self._data = None
