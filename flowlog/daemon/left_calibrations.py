"""Calibrations that `flowlog calibrate` leaves for the daemon, the only one who writes.

Beside the marks in the inbox, in the same way, under a suffix of their own.
"""

from __future__ import annotations

from dataclasses import asdict, fields
from pathlib import Path
from typing import Final

from flowlog.calibrating.inuse import result_of
from flowlog.calibration.faults import CalibrationError
from flowlog.daemon.inbox import LONGEST_NAME
from flowlog.daemon.letterbox import MarkError, leave_file, read_file, waiting_files
from flowlog.store.rows import CalibrationRow

SUFFIX: Final = ".calibration"
_LARGEST: Final = 512 * 1024
_MOST_AT_ONCE: Final = 20


def leave_calibration(folder: Path, row: CalibrationRow) -> Path:
    """Leave a calibration in a rig's data folder.

    Raises:
        MarkError: the folder cannot be written.
    """
    name = f"{row.made_wall_us:017d}-{row.uid}{SUFFIX}"
    return leave_file(folder, name, asdict(row), "a calibration")


def waiting_calibrations(folder: Path) -> list[Path]:
    """Calibrations that wait in a rig's data folder, oldest first."""
    return waiting_files(folder, SUFFIX, _MOST_AT_ONCE)


def understand_calibration(path: Path) -> CalibrationRow:
    """Read one; it is also known that its result can be read again.

    Raises:
        MarkError: it is none.
    """
    body = read_file(path, _LARGEST, "a calibration")
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
