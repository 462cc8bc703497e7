"""A route as the review needs it: what the store holds of it, and what was summed up from that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.accuracy import ASSUMED, Basis, Budget, Quantity
from flowlog.monitor.stops import Columns, Mark, Span
from flowlog.monitor.summary import Figures, Summary, known, summarise
from flowlog.review.corrected import Held, corrected
from flowlog.rig.model import Rig
from flowlog.store.rows import EventRow, RouteRow, StopMark

EARLIEST_PLAUSIBLE_US: Final = 1_735_689_600_000_000
"""2025-01-01 UTC. A computer without a battery-backed clock starts long before it."""

ClockWord = Literal["none", "corrected", "unconfirmed"]


@dataclass(frozen=True, slots=True)
class RouteReview:
    """One route, ready to be shown or exported."""

    number: int
    """Counts the rig's routes from 1; what a person types."""
    route: RouteRow
    rig: Rig
    columns: Columns
    events: tuple[EventRow, ...]
    summary: Summary
    clock: ClockWord
    calibrations: tuple[str, ...] = ()
    """Those that it was watched with, a line each; what is not among them is the rig file's."""
    basis: Basis = ASSUMED
    """How sure these are."""
    corrections: tuple[Held, ...] = ()
    """What was said about it afterwards; the stops above are put right already."""
    derived: bool = False
    """Whether readings and events were derived anew, with calibrations that a person chose."""
    underived: str = ""
    """Why they were not, though a person chose some; empty if there is no such reason."""
    raw_gone: bool = False
    """Whether its raw samples were deleted, so that nothing can be derived from them any more."""

    @property
    def ended(self) -> bool:
        return self.route.ended_wall_us is not None

    def known(self, figures: Figures, quantity: Quantity) -> Budget | None:
        """How sure a total of the route or of one of its stops is; None if it was not measured."""
        return known(self.rig, figures, quantity, self.basis)


def review_route(
    number: int,
    route: RouteRow,
    rig: Rig,
    columns: Columns,
    events: Sequence[EventRow],
    marks: Sequence[StopMark],
    calibrations: tuple[str, ...] = (),
    basis: Basis = ASSUMED,
    corrections: tuple[Held, ...] = (),
    *,
    derived: bool = False,
    underived: str = "",
) -> RouteReview:
    """Sum up a route from the rows that the store holds of it."""
    said = [Mark(mark.kind, mark.segment, mark.t_us, mark.name, mark.area_m2) for mark in marks]

    def correct(found: Columns, spans: list[Span]) -> list[Span]:
        return corrected(found, spans, corrections)

    summary = summarise(columns, [row.event for row in events], said, rig, basis, correct)
    return RouteReview(
        number,
        route,
        rig,
        columns,
        tuple(events),
        summary,
        clock_word(columns, events),
        calibrations,
        basis,
        corrections,
        derived,
        underived,
    )


def clock_word(columns: Columns, events: Sequence[EventRow]) -> ClockWord:
    """How far the dates and times of day of a route can be trusted.

    none: at least one of them is impossible, since the clock was never set.
    corrected: the clock was set on the route, and what came before was moved by the same step.
    unconfirmed: nothing speaks against them, and nothing in the store confirms them.
    """
    wall = columns["wall_us"]
    if len(wall) == 0 or int(wall.min()) < EARLIEST_PLAUSIBLE_US:
        return "none"
    if any(row.event.code == "clock_set" for row in events):
        return "corrected"
    return "unconfirmed"


def stop_numbers(review: RouteReview) -> NDArray[np.int64]:
    """The number of the stop that each reading belongs to, 0 for none; shape (n,)."""
    numbers = np.zeros(len(review.columns["seconds"]), dtype=np.int64)
    for stop in review.summary.stops:
        numbers[stop.first : stop.last + 1] = stop.number
    return numbers


RAW_GONE: Final = (
    "The raw samples of this route were deleted: the chart ends at one reading a second, no alert "
    "can be explained, and the route cannot be derived anew. What was logged stays."
)

CLOCK_SENTENCES: Final[dict[ClockWord, str]] = {
    "none": "Dates and times are not usable: the computer's clock was not set. Durations are.",
    "corrected": "The computer's clock was set on the route; earlier times were moved with it.",
    "unconfirmed": "Times are those of the computer's clock; durations are those of the board.",
}
