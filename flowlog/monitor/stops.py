"""Where the stops of a route begin and end: from the pauses in the spraying, and from marks.

A stop is one place that was sprayed. Most operators mark nothing, so a pause in the spraying that
is longer than the rig's `stop_pause` separates two stops. Who does mark knows better: a mark cuts
where it stands, and between a marked beginning and its marked end no pause cuts.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

MarkKind = Literal["begin", "end", "name"]

Columns = Mapping[str, NDArray[Any]]
"""Readings as columns of equal length, named as the fields of `Reading` with `segment`, `seq` and
`t_us` for its position; NaN where nothing was measured. `wall_us` may be there as well."""


@dataclass(frozen=True, slots=True)
class Mark:
    """What the operator said about a stop, at a place in the stream."""

    kind: MarkKind
    segment: int
    t_us: int
    name: str | None = None
    area_m2: float | None = None
    """The stop's area, where a person knows it better than speed times width."""


@dataclass(frozen=True, slots=True)
class Span:
    """The readings `first` to `last` (both included) of one stop."""

    first: int
    last: int
    name: str | None = None
    marked: bool = False
    """Whether a mark began or ended it; otherwise pauses did."""
    given_area_m2: float | None = None
    """The area that a person gave; None: what was counted holds."""


def timeline(columns: Columns) -> NDArray[np.float64]:
    """Seconds from the beginning of the stream to the end of each reading, shape (n,).

    Board time counts. Only between two segments, where the board was restarted and its clock
    says nothing, the wall clock fills in, as far as it went forward.
    """
    seconds = np.asarray(columns["seconds"], dtype=np.float64)
    ends = np.cumsum(seconds)
    segment = columns["segment"]
    wall = columns.get("wall_us")
    if wall is None or len(seconds) < 2:
        return ends
    steps = np.diff(np.asarray(wall, dtype=np.float64)) / 1e6 - seconds[1:]
    steps[np.diff(segment) == 0] = 0.0
    away: NDArray[np.float64] = np.concatenate([[0.0], np.cumsum(np.maximum(steps, 0.0))])
    return ends + away


def at_work(columns: Columns) -> NDArray[np.bool_]:
    """Which readings belong to a stop: the boom was open for at least a part of the second."""
    phase = columns["phase"]
    working: NDArray[np.bool_] = (
        (phase == "spraying") | (phase == "settling") | (columns["area_m2"] > 0)
    )
    return working


def find_stops(
    columns: Columns, marks: Sequence[Mark], stop_pause_s: float
) -> tuple[list[Span], list[Mark]]:
    """Cut the readings of a route into stops.

    Args:
        columns: the readings in the order of the stream.
        marks: the operator's marks, in any order.
        stop_pause_s: a longer pause in the spraying separates two stops.

    Returns:
        The stops in order, without overlap, each beginning and ending with spraying (then
        draining): every reading at work is in exactly one. And the marks that found no spraying
        to belong to.
    """
    work = np.flatnonzero(at_work(columns))
    ordered = sorted(marks, key=lambda mark: (mark.segment, mark.t_us))
    if len(work) == 0:
        return [], ordered
    cuts = [_cut(columns, mark) for mark in ordered]

    ends = timeline(columns)
    starts = ends - columns["seconds"]
    pauses = starts[work[1:]] - ends[work[:-1]]
    split = pauses > stop_pause_s
    split &= ~_kept_together(work, ordered, cuts)
    for mark, cut in zip(ordered, cuts, strict=True):
        if mark.kind != "name":
            place = int(np.searchsorted(work, cut))
            if 0 < place < len(work):
                split[place - 1] = True

    bounds = np.concatenate([[0], np.flatnonzero(split) + 1, [len(work)]])
    spans = [Span(int(work[low]), int(work[high - 1])) for low, high in itertools.pairwise(bounds)]
    spans = _with_draining(columns, spans)
    return _named(spans, ordered, cuts)


def _cut(columns: Columns, mark: Mark) -> int:
    """The first reading that lies behind the mark.

    The reading in whose second a stop is begun belongs to the new stop, and that in whose second
    it is ended to the old one: nobody presses a button to the second.
    """
    segment, t_us = columns["segment"], columns["t_us"]
    low = int(np.searchsorted(segment, mark.segment, side="left"))
    high = int(np.searchsorted(segment, mark.segment, side="right"))
    # A reading covers the time up to and including its t_us.
    holding = low + int(np.searchsorted(t_us[low:high], mark.t_us, side="left"))
    return holding if mark.kind == "begin" or holding == high else holding + 1


def _kept_together(
    work: NDArray[np.int64], marks: Sequence[Mark], cuts: Sequence[int]
) -> NDArray[np.bool_]:
    """Which pauses (between `work[i]` and `work[i + 1]`) lie between a beginning and its end."""
    kept = np.zeros(len(work) - 1, dtype=np.bool_)
    begun: int | None = None
    for mark, cut in zip(marks, cuts, strict=True):
        if mark.kind == "begin":
            begun = cut
        elif mark.kind == "end" and begun is not None:
            kept |= (work[:-1] >= begun) & (work[1:] < cut)
            begun = None
    return kept


def _with_draining(columns: Columns, spans: Sequence[Span]) -> list[Span]:
    """Let each stop have the draining that follows it: that liquid fell there too."""
    draining = columns["phase"] == "draining"
    following = [span.first for span in spans[1:]] + [len(draining)]
    longer = []
    for span, limit in zip(spans, following, strict=True):
        last = span.last
        while last + 1 < limit and draining[last + 1]:
            last += 1
        longer.append(Span(span.first, last))
    return longer


def _named(
    spans: Sequence[Span], marks: Sequence[Mark], cuts: Sequence[int]
) -> tuple[list[Span], list[Mark]]:
    """Give the stops the names and the `marked` of the marks that belong to them."""
    firsts = np.array([span.first for span in spans])
    names: list[str | None] = [None] * len(spans)
    areas: list[float | None] = [None] * len(spans)
    marked = [False] * len(spans)
    unused = []
    for place, (mark, cut) in enumerate(zip(marks, cuts, strict=True)):
        if mark.kind == "begin":
            # The spraying that follows, unless the next beginning or end comes before it.
            index = int(np.searchsorted(firsts, cut))
            limit = next(
                (
                    later_cut
                    for later, later_cut in zip(marks[place + 1 :], cuts[place + 1 :], strict=True)
                    if later.kind != "name"
                ),
                None,
            )
            found = index < len(spans) and (limit is None or spans[index].first < limit)
        else:
            # The spraying that is going on, or the last one before.
            index = int(np.searchsorted(firsts, cut, side="left")) - 1
            found = index >= 0
        if not found:
            unused.append(mark)
            continue
        if mark.kind != "name":
            marked[index] = True
        if mark.name:
            names[index] = mark.name
        if mark.area_m2 is not None:
            areas[index] = mark.area_m2
    named = [
        Span(span.first, span.last, name, is_marked, area)
        for span, name, is_marked, area in zip(spans, names, marked, areas, strict=True)
    ]
    return named, unused
