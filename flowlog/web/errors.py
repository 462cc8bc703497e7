"""What is said when something cannot be shown: a sentence, never a path, never a traceback."""

from __future__ import annotations

import logging
from http import HTTPStatus
from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from flowlog.daemon.letterbox import MarkError
from flowlog.errors import FlowlogError
from flowlog.review.find import NotFoundError
from flowlog.store.errors import StoreError, StoreMissingError
from flowlog.web import headers
from flowlog.web.render import page

log = logging.getLogger(__name__)

_SENTENCES: Final = {
    400: "This request cannot be understood.",
    401: "The access code is needed: open the page and enter it.",
    403: "This is not allowed from here.",
    404: "There is no such page.",
    405: "This address cannot be used in this way.",
    413: "This is more than can be taken at once.",
    415: "This has to be sent as JSON.",
    421: "These pages are not known by this name.",
    429: "Too many wrong codes: wait a little.",
    500: "Something went wrong here; logging goes on. The log of this program says more.",
    503: "This cannot be read just now; try again.",
}


def sentence_of(status: int, detail: str = "") -> str:
    """The sentence for a status; a detail of our own comes before the general one."""
    if detail and detail != _phrase(status):
        return detail
    return _SENTENCES.get(status, _phrase(status))


def _phrase(status: int) -> str:
    try:
        return HTTPStatus(status).phrase
    except ValueError:
        return "Error"


def answer(
    request: Request, status: int, sentence: str, extra: dict[str, str] | None = None
) -> Response:
    """A page for people, an object {"error": sentence} under /api."""
    if request.scope["path"].startswith("/api/"):
        made: Response = JSONResponse({"error": sentence}, status)
    else:
        made = page(request, "error.html", status, number=status, sentence=sentence)
    made.headers.update(extra or {})
    return made


async def http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    sentence = sentence_of(error.status_code, error.detail)
    return answer(request, error.status_code, sentence, dict(error.headers or {}))


async def known_error(request: Request, error: Exception) -> Response:
    """What a command would say in one line; here the place of a file stays in the log."""
    if isinstance(error, NotFoundError):
        return answer(request, 404, str(error))
    if isinstance(error, StoreMissingError):
        log.info("%s", error)
        return answer(request, 503, "Nothing has been logged for this rig yet.")
    if isinstance(error, StoreError | MarkError):
        log.warning("%s", error)
        what = "read" if isinstance(error, StoreError) else "left for the daemon"
        return answer(request, 503, f"This cannot be {what} just now; try again.")
    log.warning("%s: %s", request.scope["path"], error)
    return answer(request, 400, sentence_of(400))


async def fault(request: Request, error: Exception) -> Response:
    """A fault of ours. The server logs it; who asked learns only that there was one."""
    made = answer(request, 500, sentence_of(500))
    # This answer is made outside of everything else: it needs its headers from here.
    headers.secure(made.headers)
    return made


HANDLERS: Final = {HTTPException: http_error, FlowlogError: known_error, Exception: fault}
