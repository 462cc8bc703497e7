"""The register of checks against the outside: what a source prints, beside what flowlog computes.

A check computes through flowlog's own functions (text in through `parse`, physics, number out
through `number_in`), never by a formula of its own, so that an error there shows here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, Literal

Standing = Literal["read", "derived", "memory"]


@dataclass(frozen=True, slots=True)
class Source:
    """A publication in full words. `year` is empty where the copy that was read shows none."""

    title: str
    publisher: str
    year: str = ""
    standing: Standing = "read"
    """read: the figure was read there; derived: follows from definitions; memory: unverified."""

    def __str__(self) -> str:
        words = [self.title, self.publisher, self.year or "year not shown"]
        note = {"read": "", "derived": "  [derived]", "memory": "  [from memory, unverified]"}
        if self.standing == "derived":
            words = [self.title, self.publisher]
        return ", ".join(word for word in words if word) + note[self.standing]


@dataclass(frozen=True, slots=True)
class Check:
    """One value. At least one of `printed` and `exact` is there, both as they are written.

    `tolerance` is what the publication's rounding allows, absolute. `exact` is the value worked
    out by hand; flowlog must agree with it to half a unit of its last figure.
    """

    source: Source
    inputs: str
    compute: Callable[[], float]
    unit: str = ""
    printed: str | None = None
    tolerance: float = 0.0
    exact: str | None = None

    def faults(self, value: float) -> list[str]:
        """Everything that is wrong with a value, in words; empty when it agrees."""
        found = []
        if not math.isfinite(value):
            found.append(f"computed {value}")
        if self.printed is not None:
            allowed = self.tolerance + 1e-9 * abs(float(self.printed))
            if not abs(value - float(self.printed)) <= allowed:
                found.append(f"computed {value:.7g}, printed {self.printed} +-{self.tolerance:g}")
        if self.exact is not None and not abs(value - float(self.exact)) <= half_unit(self.exact):
            found.append(f"computed {value:.9g}, exact {self.exact}")
        return found

    def __str__(self) -> str:
        return f"{self.inputs} [{self.unit}]"


def half_unit(written: str) -> float:
    """Half a unit of the last figure of a written number, and a hair for the binary rounding."""
    mantissa, _, power = written.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 0.5 * 10.0 ** (int(power or 0) - decimals) * (1.0 + 1e-6)


CHECKS: Final[list[Check]] = []


def check(
    source: Source,
    inputs: str,
    compute: Callable[[], float],
    unit: str = "",
    *,
    printed: str | None = None,
    tolerance: float | None = None,
    exact: str | None = None,
) -> None:
    """Put a check into the register. Without a tolerance the printed figures are taken as exact."""
    if printed is None and exact is None:
        raise ValueError(f"{inputs}: nothing to check against")
    if tolerance is None:
        tolerance = half_unit(printed) if printed is not None else 0.0
    CHECKS.append(Check(source, inputs, compute, unit, printed, tolerance, exact))


def table(checks: Iterable[Check]) -> str:
    """All checks as text: under each source, inputs | printed | computed | tolerance | verdict."""
    by_source: dict[Source, list[Check]] = {}
    for one in checks:
        by_source.setdefault(one.source, []).append(one)
    head = f"  {'inputs':<66} {'printed':>10} {'exact':>12} {'computed':>13} {'tolerance':>9}  unit"
    lines = [head]
    for source, rows in by_source.items():
        lines += ["", str(source)]
        for row in rows:
            value = row.compute()
            verdict = "" if not row.faults(value) else "   <-- DISAGREES"
            allowed = f"{row.tolerance:.2g}" if row.printed is not None else ""
            lines.append(
                f"  {row.inputs:<66} {row.printed or '-':>10} {row.exact or '-':>12} "
                f"{value:>13.7g} {allowed:>9}  {row.unit}{verdict}"
            )
    return "\n".join(lines)
