"""HTML from templates, with every value escaped."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from flowlog import __version__
from flowlog.web.static import static_url


@cache
def environment() -> Environment:
    made = Environment(
        loader=PackageLoader("flowlog.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.globals.update(static_url=static_url, version=__version__)
    return made


def page(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """One page.

    Args:
        template: its file in `templates`.
        values: what the template names; `path` is the request's own.
    """
    text = environment().get_template(template).render(path=request.scope["path"], **values)
    return HTMLResponse(text, status)
