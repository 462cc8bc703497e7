"""Scripts, styles and pictures: all local, named by their content, kept for ever by the browser.

All files share one fingerprint in their address (`/static/<fingerprint>/page.js`), so a script
finds the others beside it by a relative name and none is ever older than another.
"""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import Route

FOLDER: Final = Path(__file__).parent / "static"
_TYPES: Final = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".woff2": "font/woff2",
    ".webmanifest": "application/manifest+json",
}

OPEN_FILES: Final = frozenset({"look.css", "code.js", "icon.svg"})
"""What the code page needs; all others are shown only with the code."""


@cache
def names() -> frozenset[str]:
    """The files that there are; nothing else is ever opened, whatever a path says."""
    return frozenset(
        path.name for path in FOLDER.iterdir() if path.is_file() and path.suffix in _TYPES
    )


@cache
def fingerprint() -> str:
    """Changes with every change of any file."""
    digest = hashlib.sha256()
    for name in sorted(names()):
        digest.update(name.encode() + b"\0" + (FOLDER / name).read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def static_url(name: str) -> str:
    """Address of a file, for templates.

    Raises:
        LookupError: there is no such file (a slip in a template).
    """
    if name not in names():
        raise LookupError(f"no static file {name}")
    return f"/static/{fingerprint()}/{name}"


def send(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in names():
        raise HTTPException(404)
    if request.path_params["fingerprint"] != fingerprint():
        return RedirectResponse(static_url(name), 302, {"Cache-Control": "no-store"})
    return FileResponse(
        FOLDER / name,
        media_type=_TYPES[Path(name).suffix],
        headers={"Cache-Control": "public, max-age=31536000, immutable"},
    )


ROUTES: Final = [Route("/static/{fingerprint}/{name}", send)]
