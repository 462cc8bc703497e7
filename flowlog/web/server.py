"""Serving the pages: one process, one event loop, few threads."""

from __future__ import annotations

import asyncio
import ipaddress
import signal
import socket
from types import FrameType
from typing import Final

import uvicorn
from starlette.applications import Starlette
from uvicorn.protocols.http.h11_impl import H11Protocol

from flowlog.errors import FlowlogError
from flowlog.web import memory

MOST_CONNECTIONS: Final = 64
STOP_S: Final = 2
PATIENCE_S: Final = 20.0
LOOK_S: Final = 5.0


class ServeError(FlowlogError):
    """The pages cannot be served at this address."""


def bound(host: str, port: int) -> socket.socket:
    """A socket that listens at a numeric address; port 0 takes a free one.

    Raises:
        ServeError: somebody else has it, or it is none of this machine's addresses.
    """
    version = ipaddress.ip_address(host).version
    # The protocol has to be said: only then does the event loop send without waiting for more,
    # which costs 40 ms an answer otherwise.
    family = socket.AF_INET6 if version == 6 else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((host, port))
        made.listen(64)
    except OSError as error:
        made.close()
        raise ServeError(
            f"{host}:{port}: cannot listen there: {error.strerror} (choose another with --listen "
            'or, in the rig file, [page] listen = "127.0.0.1:8733")'
        ) from error
    made.set_inheritable(False)
    return made


class Patient(H11Protocol):
    """One connection, which has to make up its mind: half a request is not waited for for ever.

    Otherwise a few dozen silent connections would keep every phone out.
    """

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._waiting_since_s: float | None = self.loop.time()
        self._look()

    def _look(self) -> None:
        if self.transport.is_closing():
            return
        cycle, now_s = self.cycle, self.loop.time()
        if cycle is not None and not cycle.response_complete and not cycle.more_body:
            self._waiting_since_s = None  # a request is whole and is being answered
        elif self._waiting_since_s is None:
            self._waiting_since_s = now_s
        elif now_s - self._waiting_since_s > PATIENCE_S:
            self.transport.close()
            return
        self.loop.call_later(LOOK_S, self._look)


class _Server(uvicorn.Server):
    """Ends what would never end by itself before it waits for the rest."""

    def __init__(self, config: uvicorn.Config, app: Starlette) -> None:
        super().__init__(config)
        self._app = app

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        await self._app.state.follower.finish()
        await super().shutdown(sockets)


def run(app: Starlette, at: socket.socket) -> None:
    """Serve until SIGTERM or SIGINT."""
    memory.settle()
    server = _Server(
        uvicorn.Config(
            app,
            loop="asyncio",
            http=Patient,
            ws="none",
            lifespan="on",
            log_config=None,
            access_log=False,
            server_header=False,
            # Nobody stands between: an address that a header claims would evade the slowed tries.
            proxy_headers=False,
            limit_concurrency=MOST_CONNECTIONS,
            h11_max_incomplete_event_size=16 * 1024,
            timeout_keep_alive=15,
            timeout_graceful_shutdown=STOP_S,
        ),
        app,
    )
    # The server stops in order at a signal and then raises it again, for these to swallow.
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, _done)
    server.run(sockets=[at])


def _done(_number: int, _frame: FrameType | None) -> None:
    return
