"""What the log knows of a stop or of a whole route, for a record."""

from __future__ import annotations

import math
from collections.abc import Sequence

from flowlog.monitor.accuracy import Quantity
from flowlog.monitor.summary import Alert, Figures, Stop
from flowlog.record.sheet import AlertNote, Measured, SheetError
from flowlog.review.route import CLOCK_SENTENCES, RouteReview
from flowlog.review.words import clean, iso_times


def measure(review: RouteReview, stop_number: int | None = None) -> Measured:
    """Args:
        stop_number: counts the stops of the route from 1; None for the whole route.

    Raises:
        SheetError: there is no such stop, or nothing was sprayed.
    """
    summary, rig = review.summary, review.rig
    if not summary.stops:
        raise SheetError(
            f"route {review.number}: nothing was sprayed, so there is nothing to record"
        )
    stop = None if stop_number is None else _stop(review, stop_number)
    stops: Sequence[Stop] = summary.stops if stop is None else [stop]
    figures = summary.figures if stop is None else stop.figures
    alerts = summary.alerts if stop is None else stop.alerts
    begin_local, begin_utc = iso_times(stops[0].begin_wall_us)
    end_local, end_utc = iso_times(stops[-1].end_wall_us)
    accuracy = summary.accuracy if stop is None else stop.accuracy
    # What went through the meter outside of all stops was not applied to any of them.
    volume_m3 = sum(part.figures.volume_m3 for part in stops)
    area_m2 = sum(part.figures.area_m2 for part in stops)
    return Measured(
        rig=clean(rig.name),
        units=rig.units,
        route=review.number,
        route_uid=review.route.uid,
        route_name=None if review.route.name is None else clean(review.route.name),
        route_ended=review.ended,
        stop=stop_number,
        stop_name=None if stop is None or stop.name is None else clean(stop.name),
        stops=tuple(clean(part.name) if part.name else f"stop {part.number}" for part in stops),
        begin_local=begin_local,
        begin_utc=begin_utc,
        end_local=end_local,
        end_utc=end_utc,
        clock=review.clock,
        clock_sentence=CLOCK_SENTENCES[review.clock],
        elapsed_s=figures.elapsed_s,
        spraying_s=figures.spraying_s,
        volume_m3=_finite(volume_m3),
        volume_share=_share(review, figures, "volume"),
        area_m2=_finite(area_m2),
        area_share=_share(review, figures, "area"),
        rate_m3_m2=volume_m3 / area_m2 if area_m2 > 0 and figures.pulses > 0 else None,
        rate_share=_share(review, figures, "rate"),
        rate_sentence="" if accuracy is None else accuracy.sentence(),
        asked_rate_m3_m2=_finite(rig.work.rate_m3_m2),
        pressure_pa=_finite(figures.pressure_pa),
        speed_m_s=_finite(rig.work.speed_m_s),
        speed_measured=rig.wheel is not None,
        effective_width_m=rig.boom.effective_width_m,
        within_10_share=_finite(figures.within_10_share),
        gap_s=figures.gap_s,
        lost_samples=figures.lost,
        alerts=tuple(_note(review, alert) for alert in alerts),
    )


def _stop(review: RouteReview, number: int) -> Stop:
    for stop in review.summary.stops:
        if stop.number == number:
            return stop
    count = len(review.summary.stops)
    raise SheetError(f"stop {number}: route {review.number} has stops 1 to {count}")


def _share(review: RouteReview, figures: Figures, quantity: Quantity) -> float | None:
    known = review.known(figures, quantity)
    return None if known is None else known.expanded


def _note(review: RouteReview, alert: Alert) -> AlertNote:
    since = next(
        (row.since_wall_us for row in review.events if row.event.alert == alert.alert), None
    )
    text = alert.worst_text or alert.text
    return AlertNote(clean(text), iso_times(since)[0], alert.open)


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)
