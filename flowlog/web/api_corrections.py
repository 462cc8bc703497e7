"""Corrections of a route, and deriving it anew: the only things that the review's pages post.

A correction is left in the daemon's letterbox and seen into the store, see `flowlog.correcting`.
"""

from __future__ import annotations

from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from flowlog.correcting import say
from flowlog.correcting.child import Work
from flowlog.correcting.hand import PATIENCE_S, hand_over
from flowlog.monitor.summary import Stop
from flowlog.review.load import in_use_with
from flowlog.review.route import RouteReview
from flowlog.store.correction import (
    LONGEST_TEXT,
    Correction,
    CorrectionError,
    Place,
    UseCalibrations,
)
from flowlog.web.api_routes import ROUTE_NUMBER, whole
from flowlog.web.openapi import operation, ref
from flowlog.web.posts import read_json
from flowlog.web.shelves import deriving_of, reviewed
from flowlog.web.site import site_of

_KNOWN: Final = {"kind", "at", "name", "area", "split", "numbers", "note", "number", "by", "reason"}
_MOST_WAITING: Final = 200
_BY: Final = "on the pages"


async def correct(request: Request) -> Response:
    body = await read_json(request)
    unknown = body.keys() - _KNOWN
    if unknown:
        raise HTTPException(400, f"Only these can be said here: {', '.join(sorted(_KNOWN))}.")
    return await run_in_threadpool(_correct, request, body)


def _correct(request: Request, body: dict[str, Any]) -> Response:
    review, folder = reviewed(request), site_of(request).folder
    try:
        said = _said(request, review, body)
        row = say.row_of(
            review, said, _text(body, "by", LONGEST_TEXT) or _BY, _text(body, "reason", 500) or ""
        )
    except CorrectionError as fault:
        raise HTTPException(400, f"{fault}.") from fault
    waiting = folder / "inbox"
    if waiting.is_dir() and sum(1 for _ in waiting.iterdir()) > _MOST_WAITING:
        raise HTTPException(503, "Too much waits for the daemon already: is it running?")
    return JSONResponse({"stored": hand_over(folder, row, PATIENCE_S), "uid": row.uid}, 202)


def _said(request: Request, review: RouteReview, body: dict[str, Any]) -> Correction:
    match body.get("kind"):
        case "rename":
            return say.renamed(_stop(review, body), _text(body, "name", LONGEST_TEXT) or "")
        case "area":
            return say.with_area(_stop(review, body), _text(body, "area", 40) or "counted")
        case "split":
            return _split(review, body)
        case "merge":
            return say.merged(_stop(review, body))
        case "calibrations":
            return _calibrated(request, review, body)
        case "tips":
            return say.tips(_text(body, "note", LONGEST_TEXT) or "")
        case "undo":
            number = body.get("number")
            if not isinstance(number, int) or isinstance(number, bool):
                raise CorrectionError("undo: the number of a correction is needed")
            return say.undone(review, number)
    raise CorrectionError(
        "kind has to be 'rename', 'area', 'split', 'merge', 'calibrations', 'tips' or 'undo'"
    )


def _split(review: RouteReview, body: dict[str, Any]) -> Correction:
    stop, when = _stop(review, body), body.get("split")
    if isinstance(when, dict):
        return say.split_at(review, stop, _place(when, "split"))
    if not isinstance(when, str):
        raise CorrectionError("split: a place, or a time as text, is needed")
    return say.split(review, stop, when)


def _calibrated(request: Request, review: RouteReview, body: dict[str, Any]) -> Correction:
    numbers = body.get("numbers")
    if numbers is None:
        return UseCalibrations(None)
    if not isinstance(numbers, list) or not all(
        isinstance(number, int) and not isinstance(number, bool) for number in numbers
    ):
        raise CorrectionError("numbers: a list of calibrations' numbers is needed, or null")
    with site_of(request).archive() as archive:
        known = archive.calibrations()
        uids = tuple(one.row.uid for one in known if one.id in numbers)
        in_use = in_use_with(archive, review.route, uids)
    return say.calibrated(review, known, numbers, in_use)


def _stop(review: RouteReview, body: dict[str, Any]) -> Stop:
    """The stop in which the place lies: numbers may have changed since the page was loaded."""
    at = _place(body.get("at"), "at")
    for stop in review.summary.stops:
        begin = Place(stop.begin.segment, stop.begin.t_us)
        if begin <= at <= Place(stop.end.segment, stop.end.t_us):
            return stop
    raise CorrectionError("at: there is no stop at this place of the route any more")


def _place(at: object, what: str) -> Place:
    if isinstance(at, dict):
        segment, t_us = at.get("segment"), at.get("t_us")
        if (
            isinstance(segment, int)
            and isinstance(t_us, int)
            and not isinstance(segment, bool)
            and not isinstance(t_us, bool)
            and 0 <= segment < 2**31
            and 0 <= t_us < 2**63
        ):
            return Place(segment, t_us)
    raise CorrectionError(f'{what}: a place is needed, {{"segment": 0, "t_us": 1000000}}')


def _text(body: dict[str, Any], key: str, longest: int) -> str | None:
    value = body.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or len(value) > longest:
        raise CorrectionError(f"{key}: a text of at most {longest} characters is needed")
    if not value.isprintable():
        raise CorrectionError(f"{key}: it holds a character that cannot be printed")
    return value


def derive(request: Request) -> Response:
    """Begin to derive, unless it is done or under way."""
    review = reviewed(request)
    if not review.underived:
        return JSONResponse(_work(Work(1.0, done=True)), 202)
    found = deriving_of(request).start(review.number)
    if found is None:
        raise HTTPException(503, "Another route is being derived anew just now; try again.")
    return JSONResponse(_work(found), 202)


def look(request: Request) -> Response:
    review = reviewed(request)
    found = deriving_of(request).look(review.number)
    if not review.underived:
        found = Work(1.0, done=True)
    return JSONResponse(_work(found))


def _work(found: Work | None) -> dict[str, Any]:
    if found is None:
        return {"state": "wanted", "share": 0.0, "failed": None}
    state = "failed" if found.failed else "done" if found.done else "under way"
    return {"state": state, "share": found.share, "failed": found.failed or None}


_MAYBE_TEXT: Final = {"type": ["string", "null"]}
_PLACE: Final = {
    "type": "object",
    "required": ["segment", "t_us"],
    "properties": {
        "segment": {"type": "integer", "minimum": 0},
        "t_us": {"type": "integer", "minimum": 0},
    },
}

SCHEMAS: Final[dict[str, Any]] = {
    "CorrectionSaid": {
        "type": "object",
        "required": ["kind"],
        "properties": {
            "kind": {"enum": ["rename", "area", "split", "merge", "calibrations", "tips", "undo"]},
            "at": {**_PLACE, "description": "A place in the stop: rename, area, split, merge."},
            "name": {**_MAYBE_TEXT, "maxLength": LONGEST_TEXT, "description": "rename"},
            "area": {
                **_MAYBE_TEXT,
                "maxLength": 40,
                "description": "area: with its unit; null for what was counted",
                "examples": ["12000 ft2"],
            },
            "split": {
                "description": "split: a place, a time of day, or a time since the beginning",
                "anyOf": [{"type": "string"}, _PLACE],
                "examples": ["13:40:05", "+0:12:30"],
            },
            "numbers": {
                "type": ["array", "null"],
                "items": {"type": "integer"},
                "description": "calibrations: their numbers, one of each kind; none for the rig "
                "file alone; null for those of its day",
            },
            "note": {"type": "string", "maxLength": LONGEST_TEXT, "description": "tips"},
            "number": {"type": "integer", "description": "undo: the correction's number"},
            "by": {**_MAYBE_TEXT, "maxLength": LONGEST_TEXT},
            "reason": {**_MAYBE_TEXT, "maxLength": 500},
        },
        "additionalProperties": False,
    },
    "CorrectionTaken": whole(
        {
            "stored": {
                "type": "boolean",
                "description": "It holds now; if not, the daemon takes it when it comes to it.",
            },
            "uid": {"type": "string"},
        }
    ),
    "Derivation": whole(
        {
            "state": {"enum": ["wanted", "under way", "done", "failed"]},
            "share": {"type": "number", "minimum": 0, "maximum": 1},
            "failed": _MAYBE_TEXT,
        }
    ),
}

ROUTES: Final[list[Route]] = [
    operation(
        "/api/routes/{number:int}/corrections",
        correct,
        "Put something of a route right; nothing is overwritten.",
        ref("CorrectionTaken"),
        tag="corrections",
        method="POST",
        body=ref("CorrectionSaid"),
        path_schemas=ROUTE_NUMBER,
        status=202,
    ),
    operation(
        "/api/routes/{number:int}/derive",
        derive,
        "Derive the route anew with the calibrations that were chosen for it.",
        ref("Derivation"),
        tag="corrections",
        method="POST",
        path_schemas=ROUTE_NUMBER,
        status=202,
    ),
    operation(
        "/api/routes/{number:int}/derive",
        look,
        "How far that is.",
        ref("Derivation"),
        tag="corrections",
        path_schemas=ROUTE_NUMBER,
    ),
]
