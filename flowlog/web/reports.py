"""Reports of routes and stops, to read, save and print."""

from __future__ import annotations

import logging
from typing import Final, cast

import anyio
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from flowlog.report.child import Kind, ReportError, make
from flowlog.report.pdf import Paper, PdfError
from flowlog.web.headers import REPORT_POLICY
from flowlog.web.site import site_of

log = logging.getLogger(__name__)

_WAIT_S: Final = 60.0
_PAPERS: Final[dict[str, Paper]] = {"letter": "letter", "a4": "a4"}


async def html_report(request: Request) -> Response:
    headers = {"Content-Security-Policy": REPORT_POLICY}
    if "save" in request.query_params:
        headers |= _as_file(request, "html")
    return Response(await _made(request, "html"), media_type="text/html", headers=headers)


async def pdf_report(request: Request) -> Response:
    content = await _made(request, "pdf")
    return Response(content, media_type="application/pdf", headers=_as_file(request, "pdf"))


async def _made(request: Request, kind: Kind) -> bytes:
    number, stop = request.path_params["number"], request.path_params.get("stop")
    paper = request.query_params.get("paper")
    if paper is not None and paper not in _PAPERS:
        raise HTTPException(400, "The paper is letter or a4.")
    turn = _turn(request)
    try:
        with anyio.fail_after(_WAIT_S):
            await turn.acquire()
    except TimeoutError:
        raise HTTPException(503, "Other reports are being made: try again in a minute.") from None
    try:
        return await make(site_of(request).folder, number, stop, kind, _PAPERS.get(paper or ""))
    except PdfError as error:
        raise HTTPException(503, "A PDF cannot be made here: print the HTML report.") from error
    except ReportError as error:
        log.warning("%s", error)
        raise HTTPException(503, "The report could not be made; try again.") from error
    finally:
        turn.release()


def _turn(request: Request) -> anyio.Semaphore:
    """One report at a time: each takes some hundred megabytes for a moment."""
    state = request.app.state
    if not hasattr(state, "report_turn"):
        state.report_turn = anyio.Semaphore(1)
    return cast("anyio.Semaphore", state.report_turn)


def _as_file(request: Request, ending: Kind) -> dict[str, str]:
    stop = request.path_params.get("stop")
    name = f"route-{request.path_params['number']}" + ("" if stop is None else f"-stop-{stop}")
    return {"Content-Disposition": f'attachment; filename="{name}.{ending}"'}


ROUTES: Final = [
    Route("/routes/{number:int}/report.html", html_report),
    Route("/routes/{number:int}/report.pdf", pdf_report),
    Route("/routes/{number:int}/stops/{stop:int}/report.html", html_report),
    Route("/routes/{number:int}/stops/{stop:int}/report.pdf", pdf_report),
]
