"""What goes into the pipeline, in the order in which it happened."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final

from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples


@dataclass(frozen=True, slots=True)
class TankFill:
    """The tank was filled: from here on it holds `volume_m3`."""

    volume_m3: float
    carried: bool = False
    """Nobody filled it: so much was left over from the route before, so no other mix came."""


StreamItem = Samples | Hello | TankFill

_JOINED: Final = 8192
"""Samples: blocks of this size are the quickest through the pipeline."""


def joined(stream: Iterable[StreamItem]) -> Iterator[StreamItem]:
    """A stored stream in few large blocks, which give the same output.

    A board repeats its hello every minute. A hello that says what the last one said, but for its
    place in the stream, tells the pipeline nothing and is left out.
    """
    waiting: list[Samples] = []
    count = 0
    hello: Hello | None = None
    for item in stream:
        if isinstance(item, Samples):
            waiting.append(item)
            count += len(item)
            if count < _JOINED:
                continue
        elif isinstance(item, Hello):
            if hello is not None and replace(item, seq=hello.seq) == hello:
                continue
            hello = item
        if waiting:
            yield Samples.join(waiting)
            waiting, count = [], 0
        if not isinstance(item, Samples):
            yield item
    if waiting:
        yield Samples.join(waiting)
