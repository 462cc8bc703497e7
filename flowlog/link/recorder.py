"""Records a source into a file and says once in a while how it goes."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any, Final

from flowlog.link.recording import Header, RecordingWriter, check_new
from flowlog.link.source import Source
from flowlog.wire.decode import Decoder
from flowlog.wire.encode import encode_hello_request
from flowlog.wire.records import Hello

_HELLO_WAIT_S: Final = 2.0
_MOST_HELD: Final = 1 << 16  # bytes kept back while waiting for the hello


@dataclass(frozen=True, slots=True)
class Said:
    """A line for the person who records."""

    text: str
    passing: bool = False
    """The next one may take its place."""


class StopSignals:
    """Turns SIGINT and SIGTERM into a flag while it is entered."""

    def __init__(self) -> None:
        self._event = threading.Event()
        self._before: dict[int, Any] = {}

    def is_set(self) -> bool:
        return self._event.is_set()

    def __enter__(self) -> StopSignals:
        def stop(number: int, frame: FrameType | None) -> None:
            del number, frame
            self._event.set()

        for number in (signal.SIGINT, signal.SIGTERM):
            self._before[number] = signal.signal(number, stop)
        return self

    def __exit__(self, *_: object) -> None:
        for number, before in self._before.items():
            signal.signal(number, before)


class Session:
    """One recording from beginning to end.

    The board is asked for a hello first, so that the header can say which board it was; what
    arrives meanwhile is kept and written behind the header.
    """

    def __init__(self, source: Source, path: Path, header: Mapping[str, str]) -> None:
        self._source = source
        self._path = path
        self._header = dict(header)
        self._decoder = Decoder()
        self._writer: RecordingWriter | None = None

    def run(
        self,
        stopped: Callable[[], bool],
        seconds: float | None = None,
        tell_every_s: float = 10.0,
    ) -> Iterator[Said]:
        """Record until `stopped` or `seconds` have passed; yields what to show.

        Raises:
            LinkError: the port cannot be opened at the start, or the file cannot be written.
                Once under way, a port that goes away is waited for.
        """
        check_new(self._path)  # before a board is disturbed
        self._source.open()
        began = time.monotonic()
        end = began + seconds if seconds is not None else float("inf")
        started = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        header = {"started": started, **self._header}
        self._source.write(encode_hello_request())
        try:
            yield from self._greet(header, stopped, min(end, began + _HELLO_WAIT_S))
            next_line = began + tell_every_s
            while not stopped() and not self._source.ended and time.monotonic() < end:
                self._take(self._source.read(min(0.25, max(0.0, end - time.monotonic()))))
                yield from (Said(event.text) for event in self._source.take_events())
                if time.monotonic() >= next_line:
                    next_line += tell_every_s
                    elapsed = time.monotonic() - began
                    yield Said(f"{elapsed:.0f} s: {self._found()}", passing=True)
        finally:
            if self._writer is not None:
                self._writer.close()

    def summary(self) -> str:
        """What was recorded, in one line."""
        size = self._writer.bytes_written if self._writer else 0
        return f"{self._path}: {size} bytes, {self._found()}"

    def _greet(self, header: Header, stopped: Callable[[], bool], until: float) -> Iterator[Said]:
        held = bytearray()
        hello: Hello | None = None
        while hello is None and not stopped() and not self._source.ended:
            left = until - time.monotonic()
            if left <= 0 or len(held) > _MOST_HELD:
                break
            data = self._source.read(min(0.1, left))
            held += data
            found = self._decoder.feed(data).items
            hello = next((item for item in found if isinstance(item, Hello)), None)
        if hello is not None:
            header |= {"board": hello.board, "firmware": hello.firmware}
            yield Said(f"board {hello.board}, firmware {hello.firmware}, channels {hello.channels}")
        elif held:
            yield Said("the board has not said hello; recording what it sends")
        else:
            yield Said(f"nothing comes from {self._source.name} so far; waiting")
        self._writer = RecordingWriter(self._path, header)
        self._writer.write(bytes(held))

    def _take(self, data: bytes) -> None:
        if data and self._writer is not None:
            self._writer.write(data)
            self._decoder.feed(data)

    def _found(self) -> str:
        count = self._decoder.counts
        text = f"{count.samples} samples, {count.hellos} hellos, {count.faults} bad lines"
        if count.faults:
            last = self._decoder.recent_faults[-1]
            text += f" (last: {last.text})"
        return text
