"""A [[fault]] table of a scenario file."""

from __future__ import annotations

import math
from typing import Final, cast

from flowlog.rig.faults import did_you_mean
from flowlog.rig.model import Rig
from flowlog.rig.table import Table
from flowlog.simulator.plan import FAULT_KINDS, FAULT_SIZES, Fault, FaultKind
from flowlog.units import UnitError, parse
from flowlog.wire.records import RESET_CAUSES

_TIP_FAULTS: Final = frozenset({"tip blocked", "tip worn", "tip missing"})

_SIZE_LIMITS: Final[dict[FaultKind, tuple[float, float]]] = {
    "tip blocked": (0.0, 1.0),
    "tip worn": (-0.5, 1.0),
    "tip missing": (1.0, 20.0),
    "leak after meter": (0.0, 20.0),
    "leak before meter": (0.0, 20.0),
    "strainer": (1.0, 1e4),
    "strainer after gauge": (0.0, 100.0),
    "pump weak": (0.0, 1.0),
    "regulator": (-0.9, 2.0),
    "tank empty": (0.0, 1.0),
    "air": (0.0, 0.9),
    "foam": (0.0, 0.5),
    "density": (-0.5, 1.0),
    "rough flow": (0.0, 20.0),
    "meter stuck": (0.0, 1.0),
    "meter double": (0.0, 3.0),
    "gauge drift": (-1.0, 1.0),
    "board reset": (0.1, 60.0),
    "corrupt lines": (0.0, 1.0),
    "lost lines": (0.0, 1.0),
}
"""Smallest and largest size; kinds that are not here take none."""


def read_fault(table: Table, rig: Rig | None, total_s: float) -> Fault | None:
    """One fault of a route that lasts `total_s`; None if it could not be read."""
    kind = table.text("kind", example='kind = "tip blocked"', default=None)
    if kind and kind not in FAULT_KINDS:
        table.fault("kind", f"'{kind}' is not a kind of fault ({did_you_mean(kind, FAULT_KINDS)})")
        kind = ""
    at = table.quantity("at", "time", "0 s", "48 h", example='at = "6 min"')
    if total_s and at >= total_s:
        table.fault("at", f"the route is over by then (it lasts {total_s / 60:.1f} min)")
    over = table.quantity("over", "time", "0 s", "48 h", example='over = "30 s"', default=0.0)
    until = table.quantity(
        "until", "time", "0 s", "48 h", example='until = "8 min"', default=math.inf
    )
    if until <= at:
        table.fault("until", "is not after `at`")
    tips = rig.boom.tips if rig is not None else 60
    tip = table.whole("tip", 1, tips, example="tip = 3") if "tip" in table else None
    cause = table.choice("cause", RESET_CAUSES, default="watchdog")
    size = None
    if kind:
        fault_kind = cast("FaultKind", kind)
        size = _read_size(table, fault_kind)
        if kind in {"tip blocked", "tip missing"} and "tip" not in table:
            table.fault("tip", "missing (which tip, from the left; write for instance tip = 3)")
        if kind not in _TIP_FAULTS and "tip" in table:
            table.fault("tip", f"'{kind}' is not a fault of one tip (leave the line out)")
        if kind != "board reset" and "cause" in table:
            table.fault("cause", "only a 'board reset' has one (leave the line out)")
    table.end()
    if not kind or math.isnan(at + over):
        return None
    return Fault(cast("FaultKind", kind), at, size, over, until, tip, cause)


def _read_size(table: Table, kind: FaultKind) -> float | None:
    value = table.raw("size")
    if value is None:
        return None
    if kind not in _SIZE_LIMITS:
        table.fault("size", f"'{kind}' has none (leave the line out)")
        return None
    low, high = _SIZE_LIMITS[kind]
    meaning = FAULT_SIZES[kind][1]
    if isinstance(value, str):
        try:
            value = parse(value, "share" if kind != "board reset" else "time")
        except UnitError as error:
            table.fault("size", f"{error} ({meaning})")
            return None
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        table.fault("size", f"is not a number ({meaning}; {low:g} to {high:g})")
        return None
    if not low <= value <= high:
        table.fault("size", f"{value} is outside {low:g} to {high:g} ({meaning})")
        return None
    return float(value)
