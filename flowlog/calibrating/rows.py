"""A result as a row of the store: with who, when, and what else was noted."""

from __future__ import annotations

import getpass
import time
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from flowlog.calibration.apply import Result
from flowlog.errors import FlowlogError
from flowlog.rig.model import Rig
from flowlog.store.rows import CalibrationRow

NOTED: Final = "noted"
"""Key in the evidence; results have fields of many names beside it."""
LONGEST_NAME: Final = 80
LONGEST_NOTE: Final = 500


class NotedError(FlowlogError):
    """A name, note or temperature that cannot be kept."""


@dataclass(frozen=True, slots=True)
class Noted:
    """What is kept beside every result."""

    by: str
    water_c: float | None = None
    note: str | None = None
    source: str = "typed"
    """Where pulses and codes came from: "typed", a port, a recording, the daemon's store."""


def login_name() -> str:
    """Who is logged in; "unknown" where the system does not say."""
    try:
        return getpass.getuser() or "unknown"
    except (OSError, KeyError):
        return "unknown"


def clean_text(text: str, longest: int, what: str) -> str:
    """Text that can be shown in one line. NotedError for none or too much."""
    shown = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if not shown:
        raise NotedError(f"{what}: nothing is written")
    if len(shown) > longest:
        raise NotedError(f"{what}: {len(shown)} characters, {longest} are enough")
    return shown


def row_of(
    result: Result, rig: Rig, noted: Noted, rests_on: Iterable[str] = (), wall_us: int | None = None
) -> CalibrationRow:
    """The row to store.

    Args:
        rests_on: uids of the meter's and gauge's calibrations that a baseline or a capped
            tip was measured with.
    """
    data = result.to_json()
    extra: dict[str, Any] = {"source": noted.source, "boom_tips": rig.boom.tips}
    if noted.water_c is not None:
        extra["water_c"] = noted.water_c
    if noted.note:
        extra["note"] = noted.note
    if result.kind in {"baseline", "capped"}:
        extra["rests_on"] = sorted(rests_on)
    return CalibrationRow(
        uid=uuid.uuid4().hex,
        kind=result.kind,
        made_wall_us=time.time_ns() // 1000 if wall_us is None else wall_us,
        made_by=noted.by,
        values=data["values"],
        evidence={**data["evidence"], NOTED: extra},
        uncertainty=data["uncertainty"],
    )
