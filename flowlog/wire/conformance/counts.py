"""S5, S6, S10: pulses and their edges, of the meter and of the wheel."""

from __future__ import annotations

import numpy as np

from flowlog.wire.conformance.rules import Finding, failed, passed, unseen
from flowlog.wire.conformance.runs import COARSEST_US, EDGES_ENOUGH, HIGHEST_HZ, Told
from flowlog.wire.inline import MASK, highest_count
from flowlog.wire.samples import ABSENT


def total_count(told: Told, number: str, field: str) -> Finding:
    back = 0
    fast = 0
    total = 0
    example, hint = "", ""
    for run in told.runs:
        value = run.column(field)
        fitted = (value[1:] != ABSENT) & (value[:-1] != ABSENT)
        step = run.steps(field)
        periods = np.maximum(run.steps("seq"), 1)
        most = highest_count(periods * told.period_us, HIGHEST_HZ)
        falls = fitted & (step < 0)
        races = fitted & (step > most)
        total += int(np.sum(np.where(fitted & ~falls & ~races, step, 0)))
        back += int(np.sum(falls))
        fast += int(np.sum(races))
        wrong = np.flatnonzero(falls | races)
        if len(wrong) and not example:
            i = int(wrong[0])
            example = f"{field} {value[i]} and then {value[i + 1]}: {told.line(run, i + 1)}"
            if 0 < (int(value[i + 1]) - int(value[i])) % 65536 < 30_000 < value[i] < 65536:
                hint = "count in 32 bits: it wraps at 65536"
            elif int(value.max()) < 100_000 and back > 2:
                hint = "send the total since the start, not the pulses since the last sample"
    if not back and not fast:
        if not total:
            return unseen(number, f"{field} stood still; turn the sensor to see it")
        return passed(number, f"{total} more in {told.samples} samples")
    said = [f"{back} times less than before"] if back else []
    said += [f"{fast} times more than can be"] if fast else []
    return failed(number, f"{', '.join(said)}: {example}", hint)


def last_edges(told: Told, number: str, count: str, edge: str) -> Finding:
    slack = told.limits.edge_slack_us
    kinds = {
        "newer than its sample": 0,
        "older than the sample before": 0,
        "the same although the count moved": 0,
        "changed although the count stood still": 0,
        "not 0 before the first edge": 0,
    }
    moves = at_sample = 0
    sizes: set[int] = set()
    example = ""
    for run in told.runs:
        clock, edges, counts = (run.column(name) for name in ("clock_us", edge, count))
        if count == "wheel" and not np.all(counts != ABSENT):
            continue
        step = run.steps(count)
        elapsed = np.diff(clock) & MASK
        sane = (run.steps("seq") > 0) & (elapsed < 1 << 31)
        moved = sane & (step > 0)
        age = ((clock[1:] - edges[1:] + (1 << 31)) & MASK) - (1 << 31)
        same = edges[1:] == edges[:-1]
        newer = moved & (age < -slack)
        stuck = moved & same & ~newer
        older = moved & (age > elapsed + slack) & ~stuck
        shifted = sane & (step == 0) & ~same
        # Later a count of 0 may be that of a wrap.
        from_start = int(run.column("seq")[0]) == 0 and np.cumsum(step != 0) == 0
        early = from_start & (counts[1:] == 0) & (edges[1:] != 0)
        for name, where in zip(kinds, (newer, older, stuck, shifted, early), strict=True):
            kinds[name] += int(np.sum(where))
            wrong = np.flatnonzero(where)
            if len(wrong) and not example:
                example = told.line(run, int(wrong[0]) + 1)
        moves += int(np.sum(moved))
        sizes.update(step[moved].tolist())
        at_sample += int(np.sum(moved & (np.abs(age) <= COARSEST_US)))
    said = [f"{times} times {name}" for name, times in kinds.items() if times]
    if said:
        return failed(number, f"{edge} {', '.join(said)}: {example}")
    if not moves:
        return unseen(number, f"{count} stood still; turn the sensor to see it")
    # A signal in step with the samples may end each on an edge; one that is not cannot.
    if moves >= EDGES_ENOUGH and len(sizes) >= 3 and at_sample > 0.9 * moves:
        return failed(number, f"{edge} is the time of the sample itself in {at_sample} of {moves}")
    return passed(number, f"{moves} samples with new edges")


def wheel(told: Told) -> Finding:
    if not any((run.column("wheel") != ABSENT).any() for run in told.runs):
        return unseen("S10", "no wheel is fitted")
    counted = total_count(told, "S10", "wheel")
    if counted.verdict != "pass":
        return counted
    return last_edges(told, "S10", "wheel", "wheel_edge_us")
