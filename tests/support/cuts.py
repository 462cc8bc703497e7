"""One stream, cut into blocks in another way: what comes out must not depend on it."""

from __future__ import annotations

import numpy as np

from flowlog.monitor.stream import StreamItem
from flowlog.wire.samples import Samples

_SIZES = (1, 2, 3, 5, 7, 40, 300, 3000)


def cut(items: list[StreamItem], random: np.random.Generator) -> list[StreamItem]:
    """The same stream in blocks of random length."""
    parts: list[StreamItem] = []
    for item in items:
        if not isinstance(item, Samples):
            parts.append(item)
            continue
        at = 0
        while at < len(item):
            size = int(random.choice(_SIZES))
            parts.append(item[at : at + size])
            at += size
    return parts
