"""B: what happens when the board starts again."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from flowlog.wire.conformance.rules import Finding, advised, failed, passed, unseen
from flowlog.wire.conformance.runs import Told
from flowlog.wire.records import HIGHEST_BOOT

_UNHEARD: Final = 100
"""Starts that may have gone by unheard between two that were."""
_HOW: Final = "no start was heard; restart the board while it is checked (--restart)"


def start_findings(told: Told) -> Iterator[Finding]:
    """Findings B1 to B3."""
    if not told.runs:
        yield unseen("B1", "no good sample came")
        yield unseen("B2", "no good sample came")
    else:
        yield _boots(told)
        yield _zeros(told)
    yield _cause(told)


def _boots(told: Told) -> Finding:
    for run in told.runs:
        boot = run.column("boot")
        changes = np.flatnonzero(np.diff(boot))
        if len(changes):
            i = int(changes[0])
            return failed(
                "B1",
                f"boot changed {len(changes)} times while seq and clock went on: "
                f"{told.line(run, i)} and then {told.line(run, i + 1)}",
            )
    said = []
    for a, b in zip(told.runs[:-1], told.runs[1:], strict=True):
        before, after = int(a.column("boot")[-1]), int(b.column("boot")[0])
        said.append(f"{before}, then {after}")
        if before == after == 0:
            continue
        step = (after - before) % HIGHEST_BOOT
        if before == after or 0 in {before, after} or step > _UNHEARD:
            return failed(
                "B1",
                f"{before} before a start, {after} after it: {told.line(b, 0)}",
                "write the count to a memory that keeps it without power"
                if before == after
                else "",
            )
    if not said:
        return unseen("B1", f"boot {int(told.runs[0].column('boot')[0])} throughout; {_HOW}")
    return passed("B1", "; ".join(said))


def _zeros(told: Told) -> Finding:
    firsts = [run for run in told.runs if int(run.column("seq")[0]) == 0]
    late = [run for run in told.runs if run.started and int(run.column("seq")[0]) > 0]
    for run in firsts:
        clock = int(run.column("clock_us")[0])
        if clock > 2 * told.period_us:
            return failed("B2", f"seq 0 with clock_us {clock}: {told.line(run, 0)}")
        # No meter makes 20,000 pulses a second; a count from before the start does.
        for field in ("pulses", "wheel"):
            count = int(run.column(field)[0])
            if count > 2 + told.period_us // 50:
                return failed("B2", f"{field} {count} in the first sample: {told.line(run, 0)}")
    # Lines just after a start are easily lost with USB; only many missing ones tell something.
    for run in late:
        first = int(run.column("seq")[0])
        own = first * told.period_us
        clock = int(run.column("clock_us")[0])
        if own < 1 << 32 and abs(clock - own) > own // 64 + 2 * told.period_us:
            return failed("B2", f"after a start seq {first} with clock_us {clock}")
    if firsts:
        return passed("B2", f"{len(firsts)} starts")
    return unseen("B2", _HOW)


def _cause(told: Told) -> Finding:
    hellos = told.heard.hellos
    if not hellos:
        return unseen("B3", "no hello came")
    causes = sorted({hello.reset for _, _, hello in hellos})
    if causes == ["unknown"]:
        return advised("B3", "reset is unknown")
    return passed("B3", ", ".join(causes))
