"""S2, S3, S4, S11: the number and the clock of the samples."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Final

import numpy as np

from flowlog.wire.conformance.rules import Finding, advised, failed, passed, unseen
from flowlog.wire.conformance.runs import COARSEST_US, EDGES_ENOUGH, Ints, Run, Told
from flowlog.wire.inline import MASK, clock_error_us, clock_slack_us
from flowlog.wire.parse import Fault

OUTAGE_PERIODS: Final = 20
"""A longer gap is a cable or a host that was away, not a board that was too slow."""
DISTANCES_ENOUGH: Final = 6
_LOST_SHARE: Final = 0.01


def numbers_once(told: Told) -> Finding:
    repeated = back = 0
    example = ""
    for run in told.runs:
        step = run.steps("seq")
        repeated += int(np.sum(step == 0))
        back += int(np.sum(step < 0))
        wrong = np.flatnonzero(step <= 0)
        if len(wrong) and not example:
            i = int(wrong[0])
            example = f"{told.line(run, i)} and then {told.line(run, i + 1)}"
    if not repeated and not back:
        return passed("S2", f"{told.samples} numbers")
    said = [f"{repeated} numbers repeated"] if repeated else []
    said += [f"{back} times back without a start"] if back else []
    return failed("S2", f"{', '.join(said)}: {example}")


def _clock_errors(told: Told, run: Run) -> tuple[Ints, Ints]:
    """For each step with a growing number: its place, and the clock's error against seq."""
    seq = run.steps("seq")
    at = np.flatnonzero(seq > 0)
    expected = seq[at] * told.period_us
    error = clock_error_us(np.diff(run.column("clock_us"))[at] & MASK, expected)
    wrong = np.abs(error) > clock_slack_us(expected, told.limits)
    return at[wrong], error[wrong]


def clock_with_numbers(told: Told) -> Finding:
    number = 0
    example, hint = "", ""
    for run in told.runs:
        at, error = _clock_errors(told, run)
        number += len(at)
        if len(at) and not example:
            i = int(at[0])
            step = int(run.steps("clock_us")[i])
            periods = int(run.steps("seq")[i])
            example = (
                f"the clock went {step} us on where seq went {periods} on, "
                f"{periods * told.period_us} us: {told.line(run, i)} and then "
                f"{told.line(run, i + 1)}"
            )
            hint = _clock_hint(step, int(error[0]), periods * told.period_us)
    if not number:
        return _clock_pace(told)
    return failed("S3", f"{number} of {told.steps} steps; {example}", hint)


def _clock_hint(step: int, error: int, expected: int) -> str:
    if step == 0:
        return "the clock stands still: read it when the sample is closed"
    if abs(step * 1000 - expected) < expected // 4:
        return "send microseconds, not milliseconds"
    for bits in (16, 24, 30, 31):
        if abs(error + (1 << bits)) < expected or abs(error - (1 << bits)) < expected:
            return f"the clock wraps at 2^{bits}: extend it to 32 bits"
    return ""


def _clock_pace(told: Told) -> Finding:
    """The clock against seq x period over the longest run: both should come of one timer."""
    run = max(told.runs, key=len)
    seq = run.steps("seq")
    expected = np.where(seq > 0, seq, 0) * told.period_us
    error = np.where(seq > 0, clock_error_us(np.diff(run.column("clock_us")) & MASK, expected), 0)
    total = int(expected.sum())
    off = int(error.sum())
    share = off / total if total else 0.0
    said = f"{100 * share:+.3f} % over {total / 1e6:.1f} s"
    # One period of play at the ends, by the page; beyond it the pace itself is wrong.
    if abs(off) > total // 64 + told.period_us:
        hint = _clock_hint(0, off, total) if not run.steps("clock_us").any() else ""
        return failed("S3", f"by the clock a period is {100 * share:+.1f} % off period_ms", hint)
    if total >= 5_000_000 and abs(off) > total // 200 + told.period_us // 2:
        return advised("S3", f"the clock gains {said} on seq", "close samples by the clock itself")
    return passed("S3", said)


def fine_steps(told: Told) -> Finding:
    """Common divisor of the times between edges.

    A signal in step with the board's clock has such a divisor too, but then each edge comes the
    same time after the last one: only edges at several distances show how fine the clock is.
    """
    common = moves = 0
    distances: set[Fraction] = set()
    for run in told.runs:
        at = np.flatnonzero(run.steps("pulses") > 0) + 1
        total, edge = run.column("pulses")[at], run.column("edge_us")[at]
        counts = (np.diff(total) & MASK).tolist()
        times = (np.diff(edge) & MASK).tolist()
        moves += len(times)
        common = math.gcd(common, *times)
        distances.update(Fraction(t, n) for t, n in zip(times, counts, strict=True) if n)
    if 0 < common <= COARSEST_US:
        return passed("S4", f"steps of {common} us or a divisor")
    if moves < EDGES_ENOUGH or len(distances) < DISTANCES_ENOUGH:
        return unseen(
            "S4", "too few edges, or edges in step with the board; turn the meter by hand"
        )
    return failed("S4", f"the times between edges are multiples of {common} us")


def every_period(told: Told) -> Finding:
    lines = told.heard.lines
    missing = outage = host = due = 0
    for run in told.runs:
        step = run.steps("seq")
        due += int(np.sum(np.maximum(step, 0)))
        for i in np.flatnonzero(step > 1):
            first, last = int(run.where[i]) + 1, int(run.where[i + 1])
            lost = int(step[i]) - 1
            bad = sum(isinstance(line.record, Fault) for line in lines[first:last])
            if lost - bad <= 0:
                continue
            if lines[last].after_wait or (first and lines[first - 1].after_wait):
                host += lost
            elif lost >= OUTAGE_PERIODS:
                outage += lost
            else:
                missing += lost - bad
    said = [f"{missing} of {due} are missing"] if missing else []
    said += [f"{outage} are missing in one piece, as when the cable is out"] if outage else []
    said += [f"{host} are missing where this computer was slow to read"] if host else []
    if missing > max(1, _LOST_SHARE * due):
        return failed("S11", "; ".join(said))
    if missing or outage:
        return advised("S11", "; ".join(said))
    return passed("S11", "; ".join(said) or f"{due} in a row")
