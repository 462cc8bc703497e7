"""Corrections of routes that other commands leave for the daemon, the only one who writes.

Beside the marks in the inbox, in the same way, under a suffix of their own. What a correction may
say is in `flowlog.store.correction`.
"""

from __future__ import annotations

from dataclasses import asdict, fields
from pathlib import Path
from typing import Final

from flowlog.daemon.letterbox import MarkError, leave_file, read_file, waiting_files
from flowlog.store.correction import LONGEST_TEXT, CorrectionError, said_in
from flowlog.store.rows import CorrectionRow

SUFFIX: Final = ".correction"
_LARGEST: Final = 16 * 1024
_MOST_AT_ONCE: Final = 50
_LONGEST_REASON: Final = 500


def leave_correction(folder: Path, row: CorrectionRow) -> Path:
    """Leave a correction in a rig's data folder.

    Raises:
        MarkError: the folder cannot be written.
    """
    name = f"{row.made_wall_us:017d}-{row.uid}{SUFFIX}"
    return leave_file(folder, name, asdict(row), "a correction")


def waiting_corrections(folder: Path) -> list[Path]:
    """Corrections that wait in a rig's data folder, oldest first."""
    return waiting_files(folder, SUFFIX, _MOST_AT_ONCE)


def understand_correction(path: Path) -> CorrectionRow:
    """Read one.

    Raises:
        MarkError: it is none.
    """
    body = read_file(path, _LARGEST, "a correction")
    names = {field.name for field in fields(CorrectionRow)}
    if not isinstance(body, dict) or set(body) != names:
        raise MarkError(f"{path.name}: not a correction")
    for name, longest in (
        ("uid", 64),
        ("route_uid", 64),
        ("kind", 64),
        ("made_by", LONGEST_TEXT),
        ("reason", _LONGEST_REASON),
    ):
        text = body[name]
        # Half a surrogate pair is text for JSON, but no database takes it; nor is it printable.
        if not isinstance(text, str) or len(text) > longest or not text.isprintable():
            raise MarkError(f"{path.name}: {name} is not a text of at most {longest} characters")
    if not body["uid"] or not body["route_uid"]:
        raise MarkError(f"{path.name}: an empty id")
    for name, least in (("turn", 1), ("made_wall_us", -(2**63))):
        number = body[name]
        whole = isinstance(number, int) and not isinstance(number, bool)
        if not whole or not least <= number < 2**63:
            raise MarkError(f"{path.name}: {name} {number!r} is not a whole number")
    if not isinstance(body["body"], dict):
        raise MarkError(f"{path.name}: body is not an object")
    row = CorrectionRow(**body)
    try:
        said_in(row)
    except CorrectionError as fault:
        raise MarkError(f"{path.name}: {fault}") from fault
    return row
