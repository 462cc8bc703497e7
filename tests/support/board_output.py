"""What an emulated board said, through the decoder, and held against what was driven."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flowlog.wire.decode import Decoder
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

MODULUS = 1 << 32


@dataclass
class Said:
    """Samples and hellos of a stretch in which no line was damaged, unless `faults` says so."""

    samples: Samples
    hellos: list[Hello]
    faults: list[str]

    def column(self, name: str) -> NDArray[np.int64]:
        return self.samples.column(name)


def said(data: bytes, *, faults: int = 0) -> Said:
    """Decode it. As many bad lines as expected, or the test fails."""
    decoder = Decoder()
    decoded = decoder.feed(data)
    assert len(decoded.faults) == faults, decoded.faults
    assert decoder.counts.unknown == decoder.counts.extra_fields == 0
    blocks = [item for item in decoded.items if isinstance(item, Samples)]
    hellos = [item for item in decoded.items if isinstance(item, Hello)]
    return Said(Samples.join(blocks), hellos, [fault.kind for fault in decoded.faults])


def on_one_scale(clock: NDArray[np.int64]) -> NDArray[np.int64]:
    """A clock that wraps, as one that does not; its steps must be small."""
    steps = (np.diff(clock) + MODULUS // 2) % MODULUS - MODULUS // 2
    return np.concatenate((clock[:1], clock[0] + np.cumsum(steps)))
