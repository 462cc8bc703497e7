"""Application records that `flowlog sheet` leaves for the daemon, the only one who writes.

Beside the marks in the inbox, in the same way, but under a suffix of their own: a daemon that
does not know of records lets them lie instead of setting them aside as marks it cannot read.
"""

from __future__ import annotations

from dataclasses import asdict, fields
from pathlib import Path
from typing import Any, Final

from flowlog.daemon.letterbox import MarkError, leave_file, read_file, waiting_files
from flowlog.store.rows import RecordRow

SUFFIX: Final = ".record"
_LARGEST: Final = 256 * 1024
_MOST_AT_ONCE: Final = 20
_TEXTS: Final = ("uid", "record_uid", "route_uid", "made_by", "reason", "form", "state")


def leave_record(folder: Path, row: RecordRow) -> Path:
    """Leave a revision in a rig's data folder.

    Raises:
        MarkError: the folder cannot be written.
    """
    name = f"{row.made_wall_us:017d}-{row.uid}{SUFFIX}"
    return leave_file(folder, name, asdict(row), "a record")


def waiting_records(folder: Path) -> list[Path]:
    """Records that wait in a rig's data folder, oldest first."""
    return waiting_files(folder, SUFFIX, _MOST_AT_ONCE)


def understand_record(path: Path) -> RecordRow:
    """Read a revision.

    Raises:
        MarkError: it is none.
    """
    body = read_file(path, _LARGEST, "a record")
    names = {field.name for field in fields(RecordRow)}
    if not isinstance(body, dict) or set(body) != names:
        raise MarkError(f"{path.name}: not an application record")
    _check(path.name, body)
    return RecordRow(**body)


def _check(place: str, body: dict[str, Any]) -> None:
    for name in _TEXTS:
        if not _is_text(body[name]):
            raise MarkError(f"{place}: {name} is not text")
    if not body["uid"] or not body["record_uid"]:
        raise MarkError(f"{place}: an empty uid")
    if not (body["supersedes"] is None or _is_text(body["supersedes"])):
        raise MarkError(f"{place}: supersedes is not text")
    if not isinstance(body["fields"], dict):
        raise MarkError(f"{place}: fields is not an object")
    for name, least in (("made_wall_us", -(2**63)), ("stop_number", 1)):
        number = body[name]
        whole = isinstance(number, int) and not isinstance(number, bool)
        if not (whole and least <= number < 2**63) and (number is not None or least < 0):
            raise MarkError(f"{place}: {name} {number!r} is not a whole number")


def _is_text(value: object) -> bool:
    """Half a surrogate pair is text for JSON, but the database would refuse it, again and again."""
    if not isinstance(value, str):
        return False
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
