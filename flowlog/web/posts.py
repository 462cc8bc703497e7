"""Reading what was posted: small JSON objects and one form, nothing else."""

from __future__ import annotations

import json
from typing import Any, Final
from urllib.parse import parse_qs

from starlette.exceptions import HTTPException
from starlette.requests import Request

LARGEST: Final = 16 * 1024


async def read_json(request: Request) -> dict[str, Any]:
    """The JSON object in the body.

    Raises:
        HTTPException: 415 for another type, 413 if larger than `LARGEST`, 400 for no object.
    """
    # A form of another host's page can't send this type without asking first.
    if _media(request) != "application/json":
        raise HTTPException(415)
    try:
        found = json.loads(await _body(request), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise HTTPException(400, "This is not JSON.") from None
    if not isinstance(found, dict):
        raise HTTPException(400, "This is not a JSON object.")
    return found


async def read_form(request: Request) -> dict[str, str]:
    """The first value of each field of a form."""
    if _media(request) != "application/x-www-form-urlencoded":
        raise HTTPException(415, "This has to be sent as a form.")
    try:
        fields = parse_qs((await _body(request)).decode("ascii"), max_num_fields=20)
    except ValueError:
        raise HTTPException(400) from None
    return {name: values[0] for name, values in fields.items()}


def _media(request: Request) -> str:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


async def _body(request: Request) -> bytes:
    held = b""
    async for chunk in request.stream():
        held += chunk
        if len(held) > LARGEST:
            raise HTTPException(413)
    return held


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number of JSON")
