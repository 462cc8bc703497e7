"""Explanations out of a rig's store or of a recording: reading it, running it again."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from flowlog.calibrating.inuse import InUse
from flowlog.monitor.outputs import Position
from flowlog.monitor.stops import timeline
from flowlog.monitor.stream import StreamItem
from flowlog.review.corrected import chosen_calibrations
from flowlog.review.explain import Explanation, choose_alert, explain, until_of
from flowlog.review.explain_replay import Again, Said, replay_watched
from flowlog.review.find import choose_route
from flowlog.review.load import in_use_on, in_use_with, load_numbered
from flowlog.review.places import time_line
from flowlog.review.replay import Replayed, recorded_items
from flowlog.review.route import RouteReview, review_route
from flowlog.rig.model import Rig
from flowlog.store.archive import Archive
from flowlog.store.rows import EventRow, RouteRow
from flowlog.wire.samples import Samples


def explain_stored(
    archive: Archive, route: str, wanted: str, progress: Said | None = None
) -> Explanation:
    """Explain an alert of a stored route.

    Args:
        route: which one, see `choose_route`.
        wanted: which alert, see `choose_alert`.
        progress: told how many samples went through.

    Raises:
        NotFoundError: there is no such route or alert.
        StoreError: the store cannot be read.
    """
    routes = archive.routes()
    index = choose_route(routes, route)
    row = routes[index]
    review = load_numbered(archive, index + 1, row)
    alert, number = choose_alert(review.summary.alerts, wanted)
    in_use = _in_use(archive, row, review)
    total, held = archive.next_ordinal(row.id), 0

    def items() -> Iterator[StreamItem]:
        nonlocal held
        for ordinal, item in archive.stream(row.id):
            if ordinal > held:
                # Samples are missing from here on: nothing behind them means what it meant.
                return
            held = ordinal + (len(item) if isinstance(item, Samples) else 0)
            yield item

    until = until_of(review, alert)
    again = replay_watched(items(), in_use.rig, in_use.baseline, until, progress)
    whole = again.cut or held >= total > 0
    return explain(review, alert, number, again, in_use.baseline, gone=not whole)


def explain_recording(
    path: Path, rig: Rig, wanted: str, progress: Said | None = None
) -> Explanation:
    """Explain an alert of a recording, judged by this rig.

    Raises:
        NotFoundError: there is no such alert.
        RecordingError: the file cannot be read.
    """
    header, items = recorded_items(path, Replayed())
    again = replay_watched(items, rig, progress=progress)
    review = review_of(again, rig, _began_us(header))
    alert, number = choose_alert(review.summary.alerts, wanted)
    return explain(review, alert, number, again, None, path.name)


def _in_use(archive: Archive, row: RouteRow, review: RouteReview) -> InUse:
    """What the shown events were derived with."""
    chosen = chosen_calibrations(review.corrections) if review.derived else None
    return in_use_on(archive, row) if chosen is None else in_use_with(archive, row, chosen)


def _began_us(header: dict[str, str]) -> int:
    """Wall time of the beginning of a recording; 0 if nobody knows."""
    try:
        started = datetime.fromisoformat(header.get("started", ""))
        return round(started.replace(tzinfo=started.tzinfo or UTC).timestamp() * 1e6)
    except (ValueError, OverflowError):
        return 0


def review_of(again: Again, rig: Rig, began_us: int) -> RouteReview:
    """A recording summed up as a route would be."""
    columns = dict(again.columns)
    columns["wall_us"] = began_us + np.rint(timeline(columns) * 1e6).astype(np.int64)
    line = time_line(columns)

    def wall(at: Position) -> int:
        return began_us + round(line.second_of(at.segment, at.t_us) * 1e6)

    def rows() -> Iterator[EventRow]:
        for number, event in enumerate(again.events):
            yield EventRow(
                event, wall(event.at), wall(event.since), "monitor", f"recording:{number}"
            )

    route = RouteRow(0, "recording", None, began_us, began_us, "")
    return review_route(0, route, rig, columns, list(rows()), [])
