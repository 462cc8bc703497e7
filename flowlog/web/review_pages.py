"""The pages of the evening: routes by day, one route, the season, two routes side by side."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from flowlog.review import words
from flowlog.review.chart import Chart, chart_of
from flowlog.review.chart_svg import chart_svg
from flowlog.review.histogram import histogram
from flowlog.review.histogram_svg import histogram_svg
from flowlog.review.load import rig_of
from flowlog.review.route import RAW_GONE, RouteReview
from flowlog.review.season_svg import by_route, season_svg
from flowlog.web.api_charts import chart_asked, chart_title, season_asked
from flowlog.web.api_routes import both
from flowlog.web.render import page
from flowlog.web.review_view import (
    alert_rows,
    choices,
    compare_rows,
    correction_rows,
    day_groups,
    figures_of,
    heading,
    stop_rows,
    sure_lines,
    units_of,
)
from flowlog.web.shelves import all_sums, reviewed
from flowlog.web.site import site_of

_WIDTH: Final = 720
"""Of a drawing before a script has said how wide the page is; a phone scrolls it sideways."""

_NARROW: Final = 460
"""Of drawings that are shown as wide as there is room; their letters stay readable on a phone."""


def routes(request: Request) -> Response:
    found = all_sums(request)
    with site_of(request).archive() as archive:
        rig = rig_of(archive.rig())
    return page(
        request,
        "routes.html",
        rig=rig.name,
        units=units_of(rig.units),
        days=day_groups(found, rig.units),
        pending=sum(one is None for one in found),
        count=len(found),
    )


def route(request: Request) -> Response:
    review = reviewed(request)
    chart = chart_asked(request, review, columns=_WIDTH - 72)
    with site_of(request).archive() as archive:
        known = archive.calibrations()
        count = len(archive.routes())
    return page(
        request,
        "route.html",
        number=review.number,
        count=count,
        head=heading(review),
        units=units_of(review.rig.units),
        figures=figures_of(review),
        chart=_drawn(chart, review),
        begin_s=f"{chart.begin_s:.3f}",
        end_s=f"{chart.end_s:.3f}",
        length_s=f"{chart.length_s:.3f}",
        ways=_ways(review.number, chart),
        stops=stop_rows(review),
        alerts=alert_rows(review),
        noted=sum(alert.noted for alert in review.summary.alerts),
        histogram=_histogram(review, "histogram"),
        sure=sure_lines(review),
        corrections=correction_rows(review),
        choices=choices(review, known),
        ended=review.ended,
        derived=review.derived,
        underived=review.underived,
        raw_gone=RAW_GONE if review.raw_gone else "",
        calibrations=[words.on_page(line) for line in review.calibrations],
        others=[number for number in range(count, 0, -1) if number != review.number],
    )


def season(request: Request) -> Response:
    found, pending = season_asked(request)
    query = {
        name: request.query_params[name]
        for name in ("first", "last")
        if name in request.query_params
    }
    return page(
        request,
        "season.html",
        pending=pending,
        drawing=Markup(season_svg(found)),
        changes=found.changes,
        points=len(found.points),
        by_route=by_route(found),
        hours=f"{found.hours:.1f}",
        query=f"?{urlencode(query)}" if query else "",
        first=query.get("first", ""),
        last=query.get("last", ""),
    )


def compare(request: Request) -> Response:
    one, other = both(request)
    found = [histogram(review.columns, review.rig.work.rate_m3_m2) for review in (one, other)]
    most = max(
        (float(part.seconds.max()) / part.total_s for part in found if part.total_s), default=0.05
    )
    sides = [
        {
            "number": review.number,
            "head": heading(review),
            "chart": Markup(
                chart_svg(
                    chart_of(review, columns=460),
                    review.rig.units,
                    width=520,
                    panel_height=110,
                    title=chart_title(review),
                    ident=f"chart-{side}",
                )
            ),
            "histogram": Markup(
                histogram_svg(part, width=_NARROW, most_share=most, ident=f"histogram-{side}")
            ),
        }
        for side, review, part in zip("ab", (one, other), found, strict=True)
    ]
    return page(
        request,
        "compare.html",
        sides=sides,
        rows=compare_rows(one, other),
        query=urlencode({"a": one.number, "b": other.number}),
    )


def _drawn(chart: Chart, review: RouteReview) -> Markup:
    return Markup(chart_svg(chart, review.rig.units, width=_WIDTH, title=chart_title(review)))


def _histogram(review: RouteReview, ident: str) -> Markup:
    found = histogram(review.columns, review.rig.work.rate_m3_m2)
    return Markup(histogram_svg(found, width=_NARROW, ident=ident))


def _ways(number: int, chart: Chart) -> list[dict[str, str]]:
    """The buttons at the chart as links: they work without a script, too."""
    width = chart.end_s - chart.begin_s

    def way(key: str, label: str, begin: float, end: float) -> dict[str, str]:
        window = urlencode({"from": f"{max(begin, 0):.3f}", "to": f"{max(end, 0):.3f}"})
        return {"key": key, "label": label, "href": f"/routes/{number}?{window}#chart"}

    return [
        way("earlier", "Earlier", chart.begin_s - width / 2, chart.end_s - width / 2),
        way("closer", "Closer", chart.begin_s + width / 4, chart.end_s - width / 4),
        way("wider", "Wider", chart.begin_s - width / 2, chart.end_s + width / 2),
        way("later", "Later", chart.begin_s + width / 2, chart.end_s + width / 2),
        {"key": "whole", "label": "Whole route", "href": f"/routes/{number}#chart"},
    ]


ROUTES: Final[list[Route]] = [
    Route("/routes", routes),
    Route("/routes/{number:int}", route),
    Route("/season", season),
    Route("/compare", compare),
]
