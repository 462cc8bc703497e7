"""What the monitor called a fault, and whether that was right."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from bench.diagnosis.scenarios import CASES

Row = Sequence[Any]
"""code, change, said (s after the onset), since (likewise), size, low, high, unit, details, its
alert"""

CONSEQUENCES: Final = frozenset({"rate_low", "rate_high", "pressure_low", "pressure_high"})
"""A limit of the work that was left: it names no cause, and yields to an alert that does."""

_WHOLE: Final = (0.25, 0.5, 1.0, 2.0, 3.0)

RIGHT: Final[dict[str, frozenset[str]]] = {
    "one tip": frozenset({"tip_blocked 1"}),
    "half a tip": frozenset({"tip_blocked 0.5"}),
    "a quarter": frozenset({"tip_blocked 0.25"}),
    "two tips": frozenset({"tip_blocked 2"}),
    "leak +10 %": frozenset({"boom_leak"}),
    "one tip over 5 s": frozenset({"tip_blocked 1"}),
    "missing tip": frozenset({"boom_leak", "tip_missing"}),
    "strainer": frozenset({"supply_weak", "pressure_low"}),
    "regulator -10 %": frozenset({"regulator_moved", "supply_weak", "nothing"}),
    "regulator +10 %": frozenset({"regulator_moved", "nothing"}),
    "meter low 12 %": frozenset({"meter_low"}),
    "meter silent": frozenset({"meter_silent"}),
    "meter doubles": frozenset({"meter_double"}),
    "gauge open": frozenset({"gauge_open"}),
    "gauge short": frozenset({"gauge_short"}),
    "tank empty": frozenset({"air_drawn"}),
    "foam": frozenset({"foam"}),
}
"""What is right to say. The regulator may be moved on purpose: silence is right as well."""

TIP_CODES: Final = frozenset({"tip_blocked"})
IS_TIP: Final = frozenset(name for name, case in CASES.items() if case.tips is not None)


def code_wanted(name: str) -> frozenset[str]:
    """Codes that count as finding this fault, for its delay."""
    return frozenset(label.split(" ")[0] for label in RIGHT[name])


def onset_of(rows: Sequence[Row], codes: frozenset[str]) -> Row | None:
    """The first row after the onset that says one of these codes, be it a new name of an alert."""
    said = ("opened", "grew")
    return next((r for r in rows if r[0] in codes and r[1] in said and r[2] >= 0.0), None)


def verdict(rows: Sequence[Row], wait_s: float) -> tuple[str, Row | None]:
    """What stands `wait_s` after the first alert: its label, and its newest row with a size.

    Alerts that are still open count; one that names a cause before one that names a consequence,
    and among those the one that was told last.
    """
    rows = [row for row in rows if row[2] >= 0.0 and row[1] != "noted"]
    if not rows:
        return "nothing", None
    until_s = rows[0][2] + wait_s
    standing: dict[str, Row] = {}
    for row in rows:
        if row[2] > until_s:
            break
        standing.pop(row[9], None)
        if row[1] != "cleared":
            standing[row[9]] = row
    if not standing:
        return "cleared", None
    causes = [row for row in standing.values() if row[0] not in CONSEQUENCES]
    row = (causes or list(standing.values()))[-1]
    return label_of(row), row


def label_of(row: Row) -> str:
    """The code, for tips with the nearest size that is told apart."""
    if row[7] != "tips" or row[4] is None:
        return str(row[0])
    nearest = min(_WHOLE, key=lambda size: abs(size - row[4]))
    return f"{row[0]} {nearest:g}"
