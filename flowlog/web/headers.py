"""Headers that every answer carries."""

from __future__ import annotations

from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""No inline script or style, nothing from elsewhere."""

REPORT_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""For a self-contained document with its own style and no script."""

_ALWAYS: Final = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not no-referrer: with that a browser sends `Origin: null` with our own forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
_UNLESS_SET: Final = {"Content-Security-Policy": POLICY, "Cache-Control": "no-store"}


def secure(headers: MutableHeaders) -> None:
    """Add what is missing; a policy and caching that the answer chose itself stay."""
    for name, value in _ALWAYS.items():
        headers[name] = value
    for name, value in _UNLESS_SET.items():
        headers.setdefault(name, value)


class SecurityHeaders:
    """Middleware that does so with every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def send_secured(message: Message) -> None:
            if message["type"] == "http.response.start":
                secure(MutableHeaders(scope=message))
            await send(message)

        await self._app(scope, receive, send_secured if scope["type"] == "http" else send)
