"""Charts of any window, the histogram and the season: as data, as CSV, and drawn."""

from __future__ import annotations

from typing import Any, Final

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from flowlog.review.chart import Chart, chart_dict, chart_of, window
from flowlog.review.chart_csv import chart_csv, histogram_csv, season_csv
from flowlog.review.chart_svg import chart_svg
from flowlog.review.fine import LONGEST_S, fine
from flowlog.review.histogram import histogram, histogram_dict
from flowlog.review.places import time_line
from flowlog.review.route import RouteReview
from flowlog.review.season import Season, season, season_dict
from flowlog.web.api_routes import MOST_ROUTES, csv_file, of_route, whole
from flowlog.web.openapi import CSV, Parameter, operation, ref
from flowlog.web.shelves import all_sums, number_in_query, reviewed, whole_in_query
from flowlog.web.site import site_of

_DAYS_S: Final = 1e6
_SVG: Final = "image/svg+xml"


def chart_asked(request: Request, review: RouteReview, columns: int) -> Chart:
    """The chart of the window that the query asks for."""
    begin = number_in_query(request, "from", 0, _DAYS_S)
    end = number_in_query(request, "to", 0, _DAYS_S)
    # Worth it only where a second is wider than what a point takes.
    found = None
    length = time_line(review.columns).length_s
    first, last = window(length, begin, end)
    if last - first <= min(LONGEST_S, columns / 3):
        with site_of(request).archive() as archive:
            found = fine(archive, review, first, last)
    return chart_of(review, begin, end, columns, found)


def chart(request: Request) -> Response:
    columns = whole_in_query(request, "columns", 10, 2000, 600)
    return JSONResponse(chart_dict(chart_asked(request, reviewed(request), columns)))


def chart_table(request: Request) -> Response:
    review = reviewed(request)
    columns = whole_in_query(request, "columns", 10, 2000, 2000)
    begin = number_in_query(request, "from", 0, _DAYS_S)
    end = number_in_query(request, "to", 0, _DAYS_S)
    # One line a second or a column: the finer steps of a short window do not stand side by side.
    found = chart_of(review, begin, end, columns)
    name = f"route-{review.number}-chart"
    return csv_file(lambda out: chart_csv(found, review.rig.units, out), name)


def chart_drawn(request: Request) -> Response:
    review = reviewed(request)
    width = whole_in_query(request, "width", 280, 2400, 960)
    found = chart_asked(request, review, columns=width - 72)
    drawn = chart_svg(found, review.rig.units, width=width, title=chart_title(review))
    # Where it begins and ends goes along, so that a script need not read the drawing.
    headers = {
        "X-Chart-From": f"{found.begin_s:.3f}",
        "X-Chart-To": f"{found.end_s:.3f}",
        "X-Chart-Length": f"{found.length_s:.3f}",
    }
    return Response(drawn, media_type=_SVG, headers=headers)


def chart_title(review: RouteReview) -> str:
    return f"Rate, flow and pressure on route {review.number}"


def route_histogram(request: Request) -> Response:
    review = reviewed(request)
    return JSONResponse(histogram_dict(histogram(review.columns, review.rig.work.rate_m3_m2)))


def route_histogram_table(request: Request) -> Response:
    review = reviewed(request)
    found = histogram(review.columns, review.rig.work.rate_m3_m2)
    name = f"route-{review.number}-deviation"
    return csv_file(lambda out: histogram_csv(found, out), name)


def season_asked(request: Request, *, whole: bool = False) -> tuple[Season, int]:
    """The season of the routes that the query asks for, and how many are not summed up yet."""
    first = whole_in_query(request, "first", 1, MOST_ROUTES, 1)
    last = whole_in_query(request, "last", 1, MOST_ROUTES, MOST_ROUTES)
    found = all_sums(request, whole=whole)
    known = [one for one in found if one is not None]
    chosen = [one for one in known if first <= one.number <= last]
    return season(chosen), len(found) - len(known)


def season_data(request: Request) -> Response:
    found, pending = season_asked(request)
    return JSONResponse({"pending": pending, **season_dict(found)})


def season_table(request: Request) -> Response:
    found, _ = season_asked(request, whole=True)
    return csv_file(lambda out: season_csv(found, out), "season")


_NUMBER: Final = {"type": "number"}
_MAYBE: Final = {"type": ["number", "null"]}
_VALUES: Final = {"type": "array", "items": _MAYBE}
_TEXT: Final = {"type": "string"}

SCHEMAS: Final[dict[str, Any]] = {
    "Chart": whole(
        {
            "begin_s": _NUMBER,
            "end_s": _NUMBER,
            "length_s": {**_NUMBER, "description": "Of the whole route."},
            "step_s": {**_NUMBER, "description": "What a point stands for at least."},
            "begin_wall_us": {
                "type": ["integer", "null"],
                "description": "Wall time of begin_s, microseconds since 1970; null: not known.",
            },
            "panels": {
                "type": "array",
                "items": whole(
                    {
                        "name": {"enum": ["rate", "flow", "pressure"]},
                        "unit": {"enum": ["m3/m2", "m3/s", "Pa"]},
                        "band": {"type": "array", "items": _NUMBER},
                        "target": _MAYBE,
                        "at_s": {"type": "array", "items": _NUMBER},
                        "low": _VALUES,
                        "mean": _VALUES,
                        "high": _VALUES,
                    }
                ),
            },
            "stops": {
                "type": "array",
                "items": whole(
                    {
                        "number": {"type": "integer"},
                        "name": {"type": ["string", "null"]},
                        "begin_s": _NUMBER,
                        "end_s": _NUMBER,
                    }
                ),
            },
            "alerts": {
                "type": "array",
                "items": whole(
                    {
                        "number": {"type": "integer"},
                        "title": _TEXT,
                        "text": _TEXT,
                        "since_s": _NUMBER,
                        "said_s": _NUMBER,
                        "cleared_s": _MAYBE,
                    }
                ),
            },
        }
    ),
    "Histogram": whole(
        {
            "edges_share": {"type": "array", "items": _NUMBER},
            "seconds": {"type": "array", "items": _NUMBER},
            "below_s": _NUMBER,
            "above_s": _NUMBER,
            "total_s": _NUMBER,
            "within_5_share": _MAYBE,
            "within_10_share": _MAYBE,
        }
    ),
    "Season": whole(
        {
            "pending": {"type": "integer", "minimum": 0},
            "hours": _NUMBER,
            "points": {
                "type": "array",
                "items": whole(
                    {
                        "route": {"type": "integer"},
                        "begin_h": _NUMBER,
                        "begin_utc": {"type": ["string", "null"]},
                        "seconds": _NUMBER,
                        "share_of_healthy": _MAYBE,
                        "log_conductance": _MAYBE,
                        "share_of_new_tips": _MAYBE,
                    }
                ),
            },
            "changes": {
                "type": "array",
                "items": whole(
                    {
                        "route": {"type": "integer"},
                        "at_h": _NUMBER,
                        "what": {"enum": ["calibrations", "tips"]},
                        "text": _TEXT,
                    }
                ),
            },
        }
    ),
}

_SECOND: Final = {"type": "number", "minimum": 0, "maximum": _DAYS_S}
_WINDOW: Final = [
    Parameter("from", _SECOND, "First second of the window, since the route's beginning."),
    Parameter("to", _SECOND, "Its last second. It is widened to ten seconds if need be."),
]
_COLUMNS: Final = Parameter(
    "columns", {"type": "integer", "minimum": 10, "maximum": 2000}, "Points side by side."
)
_WIDTH: Final = Parameter(
    "width", {"type": "integer", "minimum": 280, "maximum": 2400}, "Of the drawing, in pixels."
)
_RANGE: Final = [
    Parameter(
        name,
        {"type": "integer", "minimum": 1, "maximum": MOST_ROUTES},
        f"Number of the {name} one.",
    )
    for name in ("first", "last")
]

ROUTES: Final[list[Route]] = [
    of_route(
        "/chart",
        chart,
        "Rate, flow and pressure in a window: least, mean and most in each column.",
        ref("Chart"),
        query=[*_WINDOW, _COLUMNS],
    ),
    of_route(
        "/chart.csv", chart_table, "The same in local units.", media=CSV, query=[*_WINDOW, _COLUMNS]
    ),
    of_route("/chart.svg", chart_drawn, "The same drawn.", media=_SVG, query=[*_WINDOW, _WIDTH]),
    of_route(
        "/histogram", route_histogram, "Time by deviation from the asked rate.", ref("Histogram")
    ),
    of_route("/histogram.csv", route_histogram_table, "The same as CSV.", media=CSV),
    operation(
        "/api/season",
        season_data,
        "What the boom passes, a quarter hour a point.",
        ref("Season"),
        tag="routes",
        query=_RANGE,
    ),
    operation(
        "/api/season.csv", season_table, "The same as CSV.", media=CSV, tag="routes", query=_RANGE
    ),
]
