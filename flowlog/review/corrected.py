"""What a person put right about the stops of a route, applied when the route is read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from flowlog.monitor.stops import Columns, Span, at_work
from flowlog.store.correction import (
    Correction,
    CorrectionError,
    GiveArea,
    Merge,
    NewTips,
    Place,
    Rename,
    Split,
    Undo,
    UseCalibrations,
    said_in,
)
from flowlog.store.rows import CorrectionRow


@dataclass(frozen=True, slots=True)
class Held:
    """A correction, and whether it holds."""

    row: CorrectionRow
    said: Correction | None
    """None: made by a newer program, this one cannot read it."""
    undone: bool

    @property
    def holds(self) -> bool:
        return self.said is not None and not self.undone


def held(rows: Iterable[CorrectionRow]) -> tuple[Held, ...]:
    """Which of a route's corrections hold.

    The order is that of (turn, uid), whatever order they came in. An undoing takes effect on what
    comes before it, unless it was undone itself.
    """
    ordered = sorted(rows, key=lambda row: (row.turn, row.uid))
    undone: set[str] = set()
    found: list[Held] = []
    for row in reversed(ordered):
        said = _read(row)
        gone = row.uid in undone
        if isinstance(said, Undo) and not gone:
            undone.add(said.undoes)
        found.append(Held(row, said, gone))
    return tuple(reversed(found))


def next_turn(rows: Iterable[CorrectionRow]) -> int:
    """The turn of a correction that is made now by somebody who knows these of the route."""
    return 1 + max((row.turn for row in rows), default=0)


def chosen_calibrations(corrections: Iterable[Held]) -> tuple[str, ...] | None:
    """Ids of the calibrations to derive with; None: those that the route was watched with."""
    chosen: tuple[str, ...] | None = None
    for one in corrections:
        if one.holds and isinstance(one.said, UseCalibrations):
            chosen = one.said.uids
    return chosen


def new_tips(corrections: Iterable[Held]) -> list[str]:
    """What was done to the tips before this route, in words."""
    return [one.said.note for one in corrections if one.holds and isinstance(one.said, NewTips)]


def corrected(columns: Columns, spans: Sequence[Span], corrections: Iterable[Held]) -> list[Span]:
    """The stops as the corrections leave them.

    A correction of which nothing is to be found (no stop there, nothing sprayed on one side of a
    split) changes nothing: `finds` tells so beforehand.
    """
    stops = list(spans)
    for one in corrections:
        if one.holds and one.said is not None:
            stops = applied(columns, stops, one.said)
    return stops


def finds(columns: Columns, spans: Sequence[Span], said: Correction) -> bool:
    """Whether a correction of the stops has something to correct."""
    if isinstance(said, Rename | GiveArea):
        return _index(columns, spans, said.at) is not None
    return applied(columns, list(spans), said) != list(spans)


def applied(columns: Columns, spans: list[Span], said: Correction) -> list[Span]:
    """The stops after one correction."""
    match said:
        case Rename(at, name):
            return _changed(columns, spans, at, name=name)
        case GiveArea(at, area_m2):
            return _changed(columns, spans, at, given_area_m2=area_m2)
        case Split(at):
            return _split(columns, spans, at)
        case Merge(at):
            return _merged(columns, spans, at)
    return spans


def _read(row: CorrectionRow) -> Correction | None:
    try:
        return said_in(row)
    except CorrectionError:
        return None


def _reading(columns: Columns, at: Place) -> int | None:
    """The reading in whose second a place lies; None if the route has no such second."""
    segment, t_us = columns["segment"], columns["t_us"]
    low = int(np.searchsorted(segment, at.segment, side="left"))
    high = int(np.searchsorted(segment, at.segment, side="right"))
    index = low + int(np.searchsorted(t_us[low:high], at.t_us, side="left"))
    return index if index < high else None


def _index(columns: Columns, spans: Sequence[Span], at: Place) -> int | None:
    reading = _reading(columns, at)
    if reading is None:
        return None
    return next((i for i, one in enumerate(spans) if one.first <= reading <= one.last), None)


def _changed(columns: Columns, spans: list[Span], at: Place, **changes: object) -> list[Span]:
    index = _index(columns, spans, at)
    if index is None:
        return spans
    changed = replace(spans[index], **changes)  # type: ignore[arg-type]
    return [*spans[:index], changed, *spans[index + 1 :]]


def _split(columns: Columns, spans: list[Span], at: Place) -> list[Span]:
    """In two where spraying begins again at or after `at`. An area that was given was the whole's:
    for the parts what was counted holds again. The name stays with the first part.
    """
    index, reading = _index(columns, spans, at), _reading(columns, at)
    if index is None or reading is None:
        return spans
    whole = spans[index]
    work = whole.first + np.flatnonzero(
        at_work({name: column[whole.first : whole.last + 1] for name, column in columns.items()})
    )
    cut = int(np.searchsorted(work, reading, side="left"))
    if not 0 < cut < len(work):
        return spans
    # What drained after the first part fell there.
    draining = columns["phase"] == "draining"
    last, begin = int(work[cut - 1]), int(work[cut])
    while last + 1 < begin and draining[last + 1]:
        last += 1
    first_part = replace(whole, last=last, given_area_m2=None)
    second_part = Span(begin, whole.last, None, whole.marked)
    return [*spans[:index], first_part, second_part, *spans[index + 1 :]]


def _merged(columns: Columns, spans: list[Span], at: Place) -> list[Span]:
    index = _index(columns, spans, at)
    if not index:
        return spans
    one, other = spans[index - 1], spans[index]
    area = None
    if one.given_area_m2 is not None or other.given_area_m2 is not None:
        area = _area(columns, one) + _area(columns, other)
    both = Span(one.first, other.last, one.name or other.name, one.marked or other.marked, area)
    return [*spans[: index - 1], both, *spans[index + 1 :]]


def _area(columns: Columns, span: Span) -> float:
    if span.given_area_m2 is not None:
        return span.given_area_m2
    return float(columns["area_m2"][span.first : span.last + 1].sum())
