"""A TOML file that a person wrote: its text, and its tables, or one plain line about why not."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Final

from flowlog.rig.faults import RigFileError

_LARGEST_BYTES: Final = 64 * 1024


def read_text(where: Path, what: str = "rig file", command: str = "flowlog rig --new") -> str:
    """The text of a file in UTF-8, with plain line ends.

    Args:
        where: the file.
        what: what it should be, for messages.
        command: what writes a new one, for messages; the file's name follows it.

    Raises:
        RigFileError: it cannot be read.
    """
    try:
        with where.open("rb") as file:
            raw = file.read(_LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise RigFileError(
            [f"{where}: there is no such file (write a new one with: {command} {where})"]
        ) from None
    except IsADirectoryError:
        raise RigFileError([f"{where}: is a folder (give the {what} itself)"]) from None
    except PermissionError:
        raise RigFileError([f"{where}: may not be read by this user (check its rights)"]) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        raise RigFileError([f"{where}: cannot be read: {reason}"]) from None
    if len(raw) > _LARGEST_BYTES:
        raise RigFileError([f"{where}: is larger than 64 kB (give the {what} itself)"])
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise RigFileError(
            [f"{where}:{line}: byte 0x{raw[error.start]:02x} is not UTF-8 (save the file as UTF-8)"]
        ) from None


def parse_toml(text: str, where: Path, example: str = 'spacing = "20 in"') -> dict[str, Any]:
    """The tables of a file's text.

    Raises:
        RigFileError: it is no TOML.
    """
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise RigFileError([f"{where}: arrays or tables are nested too deeply"]) from None
    except ValueError as error:
        found = re.search(r"^(.*) \(at line (\d+), column (\d+)\)$", str(error))
        if found is None:
            what = str(error).removesuffix(" (at end of document)")
            raise RigFileError([f"{where}: is not TOML: {what}"]) from None
        line = found[2]
        raise RigFileError(
            [
                f"{where}:{line}: is not TOML: {found[1]}, column {found[3]} (values with a unit "
                f"stand in quotes, for instance {example})"
            ]
        ) from None
