"""Who connects and does not finish a request is not waited for for ever; who waits for news is."""

from __future__ import annotations

import asyncio
import contextlib

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.responses import StreamingResponse
from starlette.routing import Route
from support.pages import in_loop

from flowlog.web import server
from flowlog.web.posts import read_json
from flowlog.web.server import Patient, bound


async def news(_request):
    async def slowly():
        for _ in range(6):
            await asyncio.sleep(0.2)
            yield b"data: x\n\n"

    return StreamingResponse(slowly())


async def said(request):
    await read_json(request)


APP = Starlette(routes=[Route("/news", news), Route("/said", said, methods=["POST"])])
HEAD = (
    b"POST /said HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 9\r\n\r\n"
)


async def answered(request: bytes, seconds: float) -> bytes:
    """What comes back until the server closes the connection, or until it has been so long."""
    at = bound("127.0.0.1", 0)
    config = uvicorn.Config(APP, http=Patient, lifespan="off", log_config=None)
    running = uvicorn.Server(config)
    task = asyncio.create_task(running.serve(sockets=[at]))
    got = b""
    try:
        reader, writer = await asyncio.open_connection(*at.getsockname())
        writer.write(request)
        async with asyncio.timeout(seconds):
            while part := await reader.read(1000):
                got += part
        writer.close()
    finally:
        running.should_exit = running.force_exit = True
        with contextlib.suppress(asyncio.CancelledError):
            await task
    return got


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(server, "PATIENCE_S", 0.3)
    monkeypatch.setattr(server, "LOOK_S", 0.05)


@pytest.mark.parametrize("request_", [b"", b"GET /news HTTP/1.1\r\nHost:", HEAD, HEAD + b'{"a"'])
def test_half_a_request_is_given_up(request_):
    assert b"200" not in in_loop(answered(request_, 10))


def test_a_stream_is_not_half_a_request_however_long_it_takes():
    request = b"GET /news HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
    assert in_loop(answered(request, 10)).count(b"data: x") == 6
