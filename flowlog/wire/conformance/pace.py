"""T: the board's clock and the arrival of its lines against the host's clock."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from flowlog.wire.conformance.rules import Finding, advised, failed, passed, unseen
from flowlog.wire.conformance.runs import Floats, Run, Told
from flowlog.wire.inline import MASK, clock_error_us

_SHORTEST_S: Final = 5.0
_FEWEST: Final = 20
WORST_SHARE: Final = 0.01
GOOD_SHARE: Final = 0.001
"""Ten times a crystal's error; a resonator, or an oscillator in the chip, is above it."""
_READING_S: Final = 0.002
"""What even the quickest line of a quarter is late at the host, give or take."""


def pace_findings(told: Told) -> Iterator[Finding]:
    """Findings T1 and T2."""
    known = [run for run in told.runs if len(run) and not np.isnan(run.at_s).any()]
    run = max(known, key=len, default=None)
    if run is None:
        why = "nobody noted when the lines came; check a port to see it"
        yield from (unseen(number, why) for number in ("T1", "T2"))
        return
    span_s = float(run.at_s[-1] - run.at_s[0])
    if span_s < _SHORTEST_S or len(run) < _FEWEST:
        yield from (unseen(number, f"listen longer than {span_s:.0f} s") for number in ("T1", "T2"))
        return
    yield _clock(told, run)
    yield _evenly(told, run)


def _clock(told: Told, run: Run) -> Finding:
    """Compares the quickest lines of the first and last quarter: delays only add."""
    board_s = _board_s(told, run)
    late_s = run.at_s - board_s
    quarter = len(run) // 4
    first = int(np.argmin(late_s[:quarter]))
    last = len(run) - quarter + int(np.argmin(late_s[-quarter:]))
    took_s = float(run.at_s[last] - run.at_s[first])
    share = float(board_s[last] - board_s[first]) / took_s - 1.0
    spread = float(np.median(late_s[:quarter]) - late_s[first])
    play = (_READING_S + min(spread, 0.05)) / took_s
    said = f"{100 * share:+.2f} % of this computer's (give or take {100 * play:.2f} %)"
    if abs(share) > WORST_SHARE + play:
        hint = "send microseconds" if abs(share + 1.0) < 0.01 else ""
        return failed("T1", f"the clock is off by {said} over {took_s:.0f} s", hint)
    if abs(share) > GOOD_SHARE + play:
        return advised("T1", f"the clock is off by {said} over {took_s:.0f} s")
    return passed("T1", f"{said} over {took_s:.0f} s")


def _board_s(told: Told, run: Run) -> Floats:
    """The board's clock from the run's first sample on, unwrapped with the help of seq."""
    seq = np.maximum(run.steps("seq"), 0)
    expected = seq * told.period_us
    step = expected + clock_error_us(np.diff(run.column("clock_us")) & MASK, expected)
    total: Floats = np.concatenate(([0], np.cumsum(step))) / 1e6
    return total


def _evenly(told: Told, run: Run) -> Finding:
    """Lateness against seq x period, with the pace itself taken out."""
    seq = np.concatenate(([0], np.cumsum(np.maximum(run.steps("seq"), 0))))
    if seq[-1] == 0:
        return unseen("T2", "seq stands still")
    slope, start = np.polyfit(seq, run.at_s, 1)
    late_s = run.at_s - (slope * seq + start)
    period_s = told.period_us / 1e6
    worst = float(np.percentile(np.abs(late_s), 95))
    said = f"19 of 20 within {1000 * worst:.0f} ms of their time, {slope * 1000:.1f} ms apart"
    waits = sum(told.heard.lines[int(i)].after_wait for i in run.where)
    if waits > 0.01 * len(run):
        return unseen("T2", "this computer was slow to read; stop what else it does")
    if worst > period_s / 2:
        return advised("T2", said)
    return passed("T2", said)
