"""Calibrations that `flowlog calibrate` leaves for the daemon, the only one who writes.

Beside the marks in the inbox, in the same way, under a suffix of their own.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, fields
from pathlib import Path
from typing import Final

from flowlog.calibrating.inuse import result_of
from flowlog.calibration.faults import CalibrationError
from flowlog.daemon.inbox import FOLDER, LONGEST_NAME, MarkError
from flowlog.store.rows import CalibrationRow

SUFFIX: Final = ".calibration"
_LARGEST: Final = 512 * 1024
_MOST_AT_ONCE: Final = 20


def leave_calibration(folder: Path, row: CalibrationRow) -> Path:
    """Leave a calibration in a rig's data folder.

    Raises:
        MarkError: the folder cannot be written.
    """
    inbox = folder / FOLDER
    final = inbox / f"{row.made_wall_us:017d}-{row.uid}{SUFFIX}"
    begun = final.with_suffix(".part")
    try:
        inbox.mkdir(parents=True, exist_ok=True)
        with begun.open("w", encoding="utf-8") as out:
            json.dump(asdict(row), out, ensure_ascii=False, allow_nan=False)
            out.flush()
            os.fsync(out.fileno())
        begun.replace(final)
        handle = os.open(inbox, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as error:
        raise MarkError(f"{inbox}: cannot leave a calibration there: {error.strerror}") from error
    return final


def waiting_calibrations(folder: Path) -> list[Path]:
    """Calibrations that wait in a rig's data folder, oldest first."""
    try:
        found = sorted(path for path in (folder / FOLDER).iterdir() if path.suffix == SUFFIX)
    except OSError:
        return []
    return found[:_MOST_AT_ONCE]


def understand_calibration(path: Path) -> CalibrationRow:
    """Read one; it is also known that its result can be read again.

    Raises:
        MarkError: it is none.
    """
    try:
        with path.open("rb") as source:
            text = source.read(_LARGEST + 1)
    except OSError as error:
        raise MarkError(f"{path.name}: cannot be read: {error.strerror}") from error
    if len(text) > _LARGEST:
        raise MarkError(f"{path.name}: larger than {_LARGEST} bytes, not a calibration")
    try:
        body = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise MarkError(f"{path.name}: not JSON") from error
    names = {field.name for field in fields(CalibrationRow)}
    if not isinstance(body, dict) or set(body) != names:
        raise MarkError(f"{path.name}: not a calibration")
    for name in ("uid", "kind", "made_by"):
        text_value = body[name]
        if not isinstance(text_value, str) or not 0 < len(text_value) <= LONGEST_NAME:
            raise MarkError(f"{path.name}: {name} is not a text of 1 to {LONGEST_NAME} characters")
    wall_us = body["made_wall_us"]
    if not isinstance(wall_us, int) or isinstance(wall_us, bool) or abs(wall_us) >= 2**63:
        raise MarkError(f"{path.name}: made_wall_us {wall_us!r} is not a time")
    for name in ("values", "evidence", "uncertainty"):
        if not isinstance(body[name], dict):
            raise MarkError(f"{path.name}: {name} is not an object")
    row = CalibrationRow(**body)
    try:
        result_of(row)
    except CalibrationError as fault:
        raise MarkError(f"{path.name}: {fault}") from fault
    return row
