"""What the review's pages share: routes read once, sums made in the background, one derivation."""

from __future__ import annotations

import logging
import threading
from typing import Final, cast

from starlette.exceptions import HTTPException
from starlette.requests import Request

from flowlog.correcting.child import Deriving
from flowlog.errors import FlowlogError
from flowlog.review.derived import FOLDER
from flowlog.review.kept_sums import FILE
from flowlog.review.route import RouteReview
from flowlog.review.shelf import Shelf
from flowlog.review.sums import RouteSums
from flowlog.web.give_back import give_back
from flowlog.web.site import site_of

log = logging.getLogger(__name__)

PATIENCE_S: Final = 0.12
"""A list that is not summed up yet is shown as far as it is."""

_MAKING = threading.Lock()


def shelf_of(request: Request) -> Shelf:
    """The shelf of this app's rig."""
    state = request.app.state
    with _MAKING:
        if not hasattr(state, "shelf"):
            state.shelf = Shelf(site_of(request).folder / FOLDER / FILE)
    return cast("Shelf", state.shelf)


def deriving_of(request: Request) -> Deriving:
    """What is derived anew for this app's rig."""
    state = request.app.state
    with _MAKING:
        if not hasattr(state, "deriving"):
            state.deriving = Deriving(site_of(request).folder)
    return cast("Deriving", state.deriving)


def reviewed(request: Request, number: int | None = None) -> RouteReview:
    """The route of the path, or of this number.

    Raises:
        HTTPException: 404, there is none.
    """
    wanted = request.path_params["number"] if number is None else number
    shelf = shelf_of(request)
    with site_of(request).archive() as archive:
        before = shelf.readings
        found = shelf.review(archive, wanted)
        if found is None:
            count = len(archive.routes())
            raise HTTPException(404, f"There is no route {wanted} (there are {count}).")
    if shelf.readings != before:
        give_back()
    return found


def all_sums(request: Request, *, whole: bool = False) -> list[RouteSums | None]:
    """All routes in one line each, oldest first; None for those that are still summed up.

    Args:
        whole: wait until none is.
    """
    shelf = shelf_of(request)
    # Two that sum up at the same time are no quicker than one, and each waits for the other.
    filling = getattr(request.app.state, "filling", None)
    patience_s = 0.0 if filling is not None and filling.is_alive() else PATIENCE_S
    with site_of(request).archive() as archive:
        found = shelf.sums(archive, None if whole else patience_s)
    if None in found:
        _fill(request, shelf)
    return found


def _fill(request: Request, shelf: Shelf) -> None:
    """Go on summing up in the background, once at a time."""
    state, site = request.app.state, site_of(request)

    def fill() -> None:
        try:
            shelf.fill(site.archive, give_back)
        except FlowlogError as fault:
            log.warning("the routes are not all summed up: %s", fault)
        give_back()

    with _MAKING:
        running = getattr(state, "filling", None)
        if running is None or not running.is_alive():
            state.filling = threading.Thread(target=fill, daemon=True)
            state.filling.start()


def whole_in_query(request: Request, name: str, low: int, high: int, default: int) -> int:
    """A whole number of the query.

    Raises:
        HTTPException: 400, it is none, or outside of its range.
    """
    text = request.query_params.get(name)
    if text is None:
        return default
    if not (text.isascii() and text.isdecimal() and len(text) < 12 and low <= int(text) <= high):
        raise HTTPException(400, f"{name} has to be a whole number from {low} to {high}.")
    return int(text)


def number_in_query(
    request: Request, name: str, low: float, high: float, default: float | None = None
) -> float | None:
    """A number of the query.

    Raises:
        HTTPException: 400, it is none, or outside of its range.
    """
    text = request.query_params.get(name)
    if text is None:
        return default
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        raise HTTPException(400, f"{name} has to be a number from {low:g} to {high:g}.")
    return value
