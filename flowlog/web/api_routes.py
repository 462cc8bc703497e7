"""Routes for programs and for our own pages: lists, sums, readings, as JSON and as CSV."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any, Final, TextIO

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from flowlog.review.chart_csv import routes_csv
from flowlog.review.compare import compared_csv, compared_dict
from flowlog.review.export_csv import readings_csv, summary_csv
from flowlog.review.export_json import finite, readings_json, summary_dict
from flowlog.review.lists_csv import alerts_csv, corrections_csv
from flowlog.review.load import rig_of
from flowlog.review.route import RouteReview
from flowlog.review.sums import RouteSums
from flowlog.review.words import iso_times
from flowlog.web.openapi import CSV, JSON, Parameter, operation, ref
from flowlog.web.piecewise import piecewise
from flowlog.web.shelves import all_sums, reviewed, whole_in_query
from flowlog.web.site import site_of

MOST_ROUTES: Final = 10**9


def routes(request: Request) -> Response:
    found = all_sums(request)
    return JSONResponse(
        {
            "pending": sum(one is None for one in found),
            "routes": [
                {"number": number, "sums": None if one is None else sums_dict(one)}
                for number, one in enumerate(found, 1)
            ],
        }
    )


def routes_table(request: Request) -> Response:
    found = [one for one in all_sums(request, whole=True) if one is not None]
    with site_of(request).archive() as archive:
        units = rig_of(archive.rig()).units
    return csv_file(lambda out: routes_csv(found, units, out), "routes")


def route(request: Request) -> Response:
    return JSONResponse(summary_dict(reviewed(request)))


def route_stops(request: Request) -> Response:
    review = reviewed(request)
    return csv_file(lambda out: summary_csv(review, out), f"route-{review.number}-stops")


def route_alerts(request: Request) -> Response:
    review = reviewed(request)
    return csv_file(lambda out: alerts_csv(review, out), f"route-{review.number}-alerts")


def route_corrections(request: Request) -> Response:
    review = reviewed(request)
    return csv_file(lambda out: corrections_csv(review, out), f"route-{review.number}-corrections")


def route_readings_csv(request: Request) -> Response:
    review = reviewed(request)
    return _download(
        lambda out: readings_csv(review, out), f"route-{review.number}-readings.csv", CSV
    )


def route_readings_json(request: Request) -> Response:
    review = reviewed(request)
    return _download(
        lambda out: readings_json(review, out), f"route-{review.number}-readings.json", JSON
    )


def compare(request: Request) -> Response:
    return JSONResponse(compared_dict(*both(request)))


def compare_table(request: Request) -> Response:
    one, other = both(request)
    name = f"routes-{one.number}-and-{other.number}"
    return csv_file(lambda out: compared_csv(one, other, one.rig.units, out), name)


def both(request: Request) -> tuple[RouteReview, RouteReview]:
    """The two routes that the query names."""
    if not {"a", "b"} <= request.query_params.keys():
        raise HTTPException(400, "a and b: the numbers of two routes are needed.")
    one, other = (whole_in_query(request, name, 1, MOST_ROUTES, 1) for name in ("a", "b"))
    return reviewed(request, one), reviewed(request, other)


def sums_dict(one: RouteSums) -> dict[str, Any]:
    """A route in one line, in SI."""
    return {
        "uid": one.route.uid,
        "name": one.route.name,
        "ended": one.route.ended_wall_us is not None,
        "clock": one.clock,
        "begin_utc": iso_times(one.begin_wall_us)[1],
        "end_utc": iso_times(one.end_wall_us)[1],
        "spraying_s": one.spraying_s,
        "area_m2": one.area_m2,
        "volume_m3": one.volume_m3,
        "rate_m3_m2": finite(one.rate_m3_m2),
        "asked_rate_m3_m2": one.asked_rate_m3_m2,
        "within_5_share": finite(one.within_5_share),
        "stops": one.stops,
        "stop_names": list(one.stop_names),
        "alerts": one.alerts,
        "open_alerts": one.open_alerts,
        "corrections": one.corrections,
        "derived_anew": one.derived,
    }


def csv_file(write: Callable[[TextIO], None], name: str) -> Response:
    """A CSV to save."""
    out = io.StringIO(newline="")
    write(out)
    return Response(out.getvalue(), media_type=CSV, headers=_saved(f"{name}.csv"))


def _saved(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}


def _download(write: Callable[[TextIO], None], name: str, media: str) -> Response:
    """A large file, made as it is sent: a day as JSON takes forty megabytes."""
    return StreamingResponse(piecewise(write), media_type=media, headers=_saved(name))


_NUMBER: Final = {"type": "number"}
_MAYBE: Final = {"type": ["number", "null"]}
_TEXT: Final = {"type": "string"}
_MAYBE_TEXT: Final = {"type": ["string", "null"]}
_COUNT: Final = {"type": "integer", "minimum": 0}
ROUTE_NUMBER: Final = {"number": {"type": "integer", "minimum": 1, "maximum": MOST_ROUTES}}
_CLOCK: Final = {"enum": ["none", "corrected", "unconfirmed"]}


def whole(properties: dict[str, Any]) -> dict[str, Any]:
    """The schema of an object that has just these."""
    return {
        "type": "object",
        "required": list(properties),
        "properties": properties,
        "additionalProperties": False,
    }


SCHEMAS: Final[dict[str, Any]] = {
    "RouteSums": whole(
        {
            "uid": _TEXT,
            "name": _MAYBE_TEXT,
            "ended": {"type": "boolean"},
            "clock": _CLOCK,
            "begin_utc": _MAYBE_TEXT,
            "end_utc": _MAYBE_TEXT,
            "spraying_s": _NUMBER,
            "area_m2": _NUMBER,
            "volume_m3": _NUMBER,
            "rate_m3_m2": _MAYBE,
            "asked_rate_m3_m2": _NUMBER,
            "within_5_share": _MAYBE,
            "stops": _COUNT,
            "stop_names": {"type": "array", "items": _TEXT},
            "alerts": _COUNT,
            "open_alerts": _COUNT,
            "corrections": {**_COUNT, "description": "Those that hold."},
            "derived_anew": {"type": "boolean"},
        }
    ),
    "Routes": whole(
        {
            "pending": {**_COUNT, "description": "So many are still summed up: ask again."},
            "routes": {
                "type": "array",
                "items": whole(
                    {
                        "number": {"type": "integer", "minimum": 1},
                        "sums": {"anyOf": [ref("RouteSums"), {"type": "null"}]},
                    }
                ),
            },
        }
    ),
    "Figures": {"type": "object", "additionalProperties": {"type": ["number", "boolean", "null"]}},
    "Correction": whole(
        {
            "number": {"type": "integer", "minimum": 1},
            "kind": _TEXT,
            "holds": {"type": "boolean"},
            "text": _TEXT,
            "by": _TEXT,
            "made_utc": _MAYBE_TEXT,
            "reason": _TEXT,
            "body": {"type": "object"},
        }
    ),
    "Route": {
        "type": "object",
        "required": ["rig", "route", "asked", "figures", "stops", "alerts", "corrections"],
        "properties": {
            "rig": _TEXT,
            "route": {"type": "object"},
            "asked": {"type": "object"},
            "figures": ref("Figures"),
            "stops": {"type": "array", "items": {"type": "object"}},
            "alerts": {"type": "array", "items": {"type": "object"}},
            "corrections": {"type": "array", "items": ref("Correction")},
            "derived_anew": {"type": "boolean"},
            "raw_samples_gone": {"type": "boolean"},
            "calibrations": {"type": "array", "items": _TEXT},
        },
    },
    "Comparison": whole(
        {
            "a": {"type": "integer"},
            "b": {"type": "integer"},
            "figures": {
                "type": "array",
                "items": whole({"name": _TEXT, "a": _MAYBE, "b": _MAYBE, "difference": _MAYBE}),
            },
        }
    ),
}

_PAIR: Final = [
    Parameter(
        name, {"type": "integer", "minimum": 1, "maximum": MOST_ROUTES}, "Number of a route.", True
    )
    for name in ("a", "b")
]


def of_route(
    path: str,
    endpoint: Callable[[Request], Response],
    summary: str,
    answer: Any = None,
    **more: Any,
) -> Route:
    """A GET below one route."""
    return operation(
        f"/api/routes/{{number:int}}{path}",
        endpoint,
        summary,
        answer,
        tag="routes",
        path_schemas=ROUTE_NUMBER,
        **more,
    )


ROUTES: Final[list[Route]] = [
    operation("/api/routes", routes, "All routes, oldest first.", ref("Routes"), tag="routes"),
    operation("/api/routes.csv", routes_table, "The same in local units.", media=CSV, tag="routes"),
    of_route("", route, "Sums, stops, alerts and corrections of a route.", ref("Route")),
    of_route("/stops.csv", route_stops, "One line a stop, in local units.", media=CSV),
    of_route("/alerts.csv", route_alerts, "One line an alert.", media=CSV),
    of_route("/corrections.csv", route_corrections, "One line a correction.", media=CSV),
    of_route("/readings.csv", route_readings_csv, "One line a second.", media=CSV),
    of_route(
        "/readings.json",
        route_readings_json,
        "Everything, one object a second.",
        {"type": "object"},
    ),
    operation(
        "/api/compare",
        compare,
        "Two routes side by side.",
        ref("Comparison"),
        tag="routes",
        query=_PAIR,
    ),
    operation(
        "/api/compare.csv",
        compare_table,
        "The same in local units.",
        media=CSV,
        tag="routes",
        query=_PAIR,
    ),
]
