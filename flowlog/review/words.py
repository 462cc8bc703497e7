"""Durations, ages and times in words, the same on every screen."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Final

from flowlog.units import Kind, Units, display_unit, number_in

_DECIMALS: Final[dict[Kind, tuple[int, int]]] = {
    "area": (0, 0),
    "volume": (1, 1),
    "flow": (2, 2),
    "pressure": (1, 2),
    "rate": (2, 0),
    "speed": (2, 2),
}
"""US and metric. Fixed, so that columns line up and a live number does not change its width."""


def figure(value_si: float | None, kind: Kind, units: Units) -> str:
    """A value without its unit: `12,917`; `--` if it was not measured."""
    if value_si is None or not math.isfinite(value_si):
        return "--"
    number = number_in(value_si, kind, display_unit(kind, units))
    if abs(number) >= 1e7:
        return f"{number:.2e}"
    decimals = _DECIMALS[kind][units == "metric"]
    return f"{number + 0.0:,.{decimals}f}"


def value(value_si: float | None, kind: Kind, units: Units) -> str:
    """A value with its unit: `12,917 ft2`; `--` if it was not measured."""
    written = figure(value_si, kind, units)
    return written if written == "--" else f"{written} {display_unit(kind, units)}"


def duration(seconds: float) -> str:
    """`12 s`, `3 min 05 s`, `2 h 07 min`, `3 d 04 h`."""
    whole = max(0, round(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    if whole < 100 * 3600:
        return f"{whole // 3600} h {whole // 60 % 60:02d} min"
    return f"{whole // 86400} d {whole // 3600 % 24:02d} h"


def clock_style(seconds: float) -> str:
    """`1:02:03`, for columns."""
    whole = max(0, round(seconds))
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def age(seconds: float | None) -> str:
    """`0.8 s old`; tenths matter only while they tell live from late."""
    if seconds is None:
        return "no data yet"
    return f"{seconds:.1f} s old" if seconds < 10 else f"{duration(seconds)} old"


def ago(seconds: float | None) -> str:
    return "at an unknown time" if seconds is None else f"{duration(seconds)} ago"


def percent(share: float, *, signed: bool = False) -> str:
    """`+3 %`; never `-0 %`, and no endless row of figures for an absurd value."""
    if not abs(share) < 9.995:
        return ">999 %" if share > 0 else "<-999 %"
    value = round(100 * share)
    return f"{value:+d} %" if signed and value else f"{value} %"


def local_time(wall_us: int | None, *, with_date: bool = False, second: bool = True) -> str:
    """Time of day in the zone of this machine; `?` for a time that no clock can have meant."""
    moment = utc(wall_us)
    if moment is None:
        return "?"
    form = ("%Y-%m-%d " if with_date else "") + ("%H:%M:%S" if second else "%H:%M")
    return moment.astimezone().strftime(form)


def utc(wall_us: int | None) -> datetime | None:
    """A wall time as a date, None if it is none or lies outside of the calendar."""
    if wall_us is None:
        return None
    try:
        return datetime.fromtimestamp(wall_us / 1e6, UTC)
    except (OverflowError, ValueError, OSError):
        return None


def clean(text: str) -> str:
    """A name that a person typed, fit for a terminal: no control characters, one line."""
    return " ".join("".join(mark if mark.isprintable() else " " for mark in text).split())


def on_page(text: str) -> str:
    """A text of ours as it stands on pages and paper, which always have this sign.

    Texts are written with `+-`, since not every terminal can show the sign and a `?` in its place
    would say something else. Not for what a person typed.
    """
    return text.replace("+-", "±")


def iso_times(wall_us: int | None) -> tuple[str | None, str | None]:
    """Local time with its offset, and UTC, in ISO 8601; None where there is no such date."""
    moment = utc(wall_us)
    if moment is None:
        return None, None
    universal = moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    try:
        return moment.astimezone().isoformat(timespec="milliseconds"), universal
    except (OverflowError, ValueError, OSError):
        return None, universal
