"""Where the board's samples come from while calibrating: its port, the daemon's store, a file."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Final, Protocol

from flowlog.errors import FlowlogError
from flowlog.link.recording import Recording
from flowlog.link.source import Source
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreMissingError
from flowlog.wire.decode import Decoder
from flowlog.wire.encode import encode_hello_request
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

_POLL_S: Final = 0.3
"""The daemon commits once a second."""
_DRAIN_S: Final = 0.3
"""What has gathered is there at once; what comes after that is fresh."""
_SILENT_S: Final = 5.0
_HELLO_SAMPLES: Final = 1200
_AWAY_S: Final = 12.0
"""The daemon may be told to write seldom."""

Items = list[Samples | Hello]


class FeedError(FlowlogError):
    """Nothing comes from the board."""


class Feed(Protocol):
    """Samples as they come. `name` says from where, for the evidence."""

    @property
    def name(self) -> str: ...
    @property
    def ended(self) -> bool: ...
    def take(self) -> Items:
        """What came since the last call; waits a moment if there is nothing yet.

        Raises:
            FlowlogError: nothing comes for so long that somebody should look.
        """

    def fresh(self) -> None:
        """Forget what came while nobody asked: what follows is now."""

    def close(self) -> None: ...


class SourceFeed:
    """From a port or a recording."""

    def __init__(self, source: Source, clock: Callable[[], float] = time.monotonic) -> None:
        self._source = source
        self._decoder = Decoder()
        self._clock = clock
        self._heard = clock()
        source.open()
        source.write(encode_hello_request())

    @property
    def name(self) -> str:
        return self._source.name

    @property
    def ended(self) -> bool:
        return self._source.ended

    def take(self) -> Items:
        data = self._source.read(0.2)
        items = self._decoder.feed(data).items
        now = self._clock()
        if items or self._source.ended:
            self._heard = now
        elif now - self._heard > _SILENT_S:
            self._heard = now
            told = self._source.take_events()
            why = told[-1].text if told else f"{self.name}: no sample for {_SILENT_S:.0f} s"
            raise FeedError(f"{why} (does the board have power? is this its port?)")
        return items

    def fresh(self) -> None:
        if isinstance(self._source, Recording):
            return  # nothing gathers in a file while nobody reads
        end = self._clock() + _DRAIN_S
        while self._source.read(0.0) and self._clock() < end:
            pass
        self._decoder.drop_partial()
        self._heard = self._clock()
        self._source.write(encode_hello_request())

    def close(self) -> None:
        self._source.close()


class StoreFeed:
    """From the store into which a daemon logs now: it holds the port."""

    def __init__(
        self,
        folder: Path,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._archive = Archive.open(folder)
        self._clock, self._sleep = clock, sleep
        self._heard = clock()
        self._route = 0
        self._next = 0
        self._hello: Hello | None = None
        self.fresh()

    @property
    def name(self) -> str:
        return "the daemon's samples"

    @property
    def ended(self) -> bool:
        return False

    def take(self) -> Items:
        newest = self._newest_route()
        if newest != self._route:
            self._route, self._next = newest, 0
        items: Items = [self._hello] if self._hello is not None else []
        self._hello = None
        for ordinal, item in self._archive.stream(self._route, self._next):
            if isinstance(item, Samples):
                items.append(item)
                self._next = ordinal + len(item)
            elif isinstance(item, Hello):
                items.append(item)
        if items:
            self._heard = self._clock()
        else:
            if self._clock() - self._heard > _AWAY_S:
                self._heard = self._clock()
                raise FeedError("the daemon stores no samples (is the board connected?)")
            self._sleep(_POLL_S)
        return items

    def fresh(self) -> None:
        self._route = self._newest_route()
        self._next = self._archive.next_ordinal(self._route)
        # A board says hello once a minute at least: what its codes mean is in the last one.
        for _, item in self._archive.stream(self._route, max(self._next - _HELLO_SAMPLES, 0)):
            if isinstance(item, Hello):
                self._hello = item
        self._heard = self._clock()

    def close(self) -> None:
        self._archive.close()

    def _newest_route(self) -> int:
        routes = self._archive.routes()
        if not routes:
            raise StoreMissingError("the daemon has not begun a route yet (try again in a moment)")
        return routes[-1].id


def recording_feed(path: Path) -> SourceFeed:
    """From a recording. RecordingError if it is none."""
    return SourceFeed(Recording(path))


class LaterFeed:
    """A feed that is opened when it is first needed."""

    def __init__(self, opens: Callable[[], Feed], name: str) -> None:
        self._opens = opens
        self._name = name
        self._feed: Feed | None = None

    def open(self) -> Feed:
        """Open it now. Raises a FlowlogError with the reason when it cannot."""
        if self._feed is None:
            self._feed = self._opens()
        return self._feed

    @property
    def name(self) -> str:
        return self._name if self._feed is None else self._feed.name

    @property
    def ended(self) -> bool:
        return self._feed is not None and self._feed.ended

    def take(self) -> Items:
        return self.open().take()

    def fresh(self) -> None:
        self.open().fresh()

    def close(self) -> None:
        if self._feed is not None:
            self._feed.close()
            self._feed = None
