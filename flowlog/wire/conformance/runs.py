"""The samples of what was heard as columns, divided into the runs between two starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.wire.conformance.heard import Heard
from flowlog.wire.inline import MASK, Limits, clock_error_us, clock_slack_us
from flowlog.wire.records import Hello
from flowlog.wire.samples import FIELDS

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

HIGHEST_HZ: Final = 100_000
"""More edges a second than any meter and any interrupt can make."""
COARSEST_US: Final = 64
"""Largest step of the clock."""
EDGES_ENOUGH: Final = 16
"""So many different edges put chance out of the question."""
DEFAULT_PERIOD_US: Final = 100_000
_HALF: Final = 1 << 31


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """Samples from one start of the board to the next, or what was heard of them."""

    table: Ints
    """Shape (n, 12), columns as in `FIELDS`, raw."""
    at_s: Floats
    """Host time of each, NaN where unknown."""
    where: Ints
    """Place of each among `Heard.lines`."""
    started: bool
    """Whether the run began after another one that was heard, so with a start."""

    def __len__(self) -> int:
        return len(self.table)

    def column(self, field: str) -> Ints:
        view: Ints = self.table[:, FIELDS.index(field)]
        return view

    def steps(self, field: str) -> Ints:
        """Step of a counter from sample to sample modulo 2^32, within -2^31..2^31-1."""
        step: Ints = ((np.diff(self.column(field)) + _HALF) & MASK) - _HALF
        return step


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """Everything that the rules are judged by."""

    heard: Heard
    runs: Sequence[Run]
    hello: Hello | None
    """The last good one."""
    period_us: int
    """As the hello says; without one as the samples show."""

    @property
    def samples(self) -> int:
        return sum(len(run) for run in self.runs)

    @property
    def steps(self) -> int:
        """Pairs of samples that follow one another within a run."""
        return sum(max(0, len(run) - 1) for run in self.runs)

    @property
    def limits(self) -> Limits:
        return Limits.of(self.period_us, HIGHEST_HZ, HIGHEST_HZ)

    def line(self, run: Run, row: int) -> str:
        """A sample's line, for a person."""
        return self.heard.lines[int(run.where[row])].shown


def tell(heard: Heard) -> Told:
    """Gather the samples and find where the board started again."""
    where = [i for i, line in enumerate(heard.lines) if isinstance(line.record, list)]
    rows = [heard.lines[i].record for i in where]
    table = np.array(rows, dtype=np.int64).reshape(-1, len(FIELDS))
    times = [heard.lines[i].at_s for i in where]
    at_s = np.array([np.nan if t is None else t for t in times], dtype=np.float64)
    hellos = heard.hellos
    hello = hellos[-1][2] if hellos else None
    period_us = hello.period_ms * 1000 if hello is not None else _period_shown(table)
    places = np.array(where, dtype=np.int64)
    starts = _starts(table, Limits.of(period_us, HIGHEST_HZ, HIGHEST_HZ))
    edges = [0, *starts, len(table)]
    runs = [
        Run(table[a:b], at_s[a:b], places[a:b], started=i > 0)
        for i, (a, b) in enumerate(pairwise(edges))
        if b > a
    ]
    return Told(heard, runs, hello, period_us)


def _period_shown(table: Ints) -> int:
    """Median step of the clock a number, in whole milliseconds, if it can be a period at all."""
    step = np.diff(table[:, 1:3], axis=0)
    good = step[:, 0] == 1
    if not good.any():
        return DEFAULT_PERIOD_US
    shown = round(float(np.median(step[good, 1] & MASK)) / 1000) * 1000
    return shown if 1_000 <= shown <= 10_000_000 else DEFAULT_PERIOD_US


def _starts(table: Ints, limits: Limits) -> list[int]:
    """Rows that are the first after a start.

    A start sets number and clock back together. Where only one of them jumps, or only the boot
    count does, the board goes on running and a rule is broken.
    """
    if len(table) < 2:
        return []
    seq = table[:, 1]
    forward = ((np.diff(seq) + _HALF) & MASK) - _HALF
    expected = np.maximum(forward, 0) * limits.period_us
    error = clock_error_us(np.diff(table[:, 2]) & MASK, expected)
    goes_on = (forward > 0) & (np.abs(error) <= clock_slack_us(expected, limits))
    own = seq[1:] * limits.period_us
    # The first sample is closed one period after the start, or at the end of a longer first one.
    slack = clock_slack_us(own, limits) + limits.period_us
    near_start = np.abs(clock_error_us(table[1:, 2], own)) <= slack
    same = table[1:, 0] == table[:-1, 0]
    begins = np.where(same, (forward < 0) & near_start, ~goes_on)
    return [int(i) + 1 for i in np.flatnonzero(begins)]
