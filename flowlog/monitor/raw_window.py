"""The newest raw samples, for what wants a closer look than ticks of half a second give."""

from __future__ import annotations

from collections import deque
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.outputs import Position
from flowlog.wire.unwrap import UNWRAPPED_FIELDS as COLUMNS

KEPT: Final = 1200
"""Samples: two minutes of a board that sends ten a second."""

_SEGMENT = COLUMNS.index("segment")
_SEQ = COLUMNS.index("seq")


class RawWindow:
    """Keeps blocks of unwrapped samples as they came, no longer than a tick may ask for them."""

    def __init__(self) -> None:
        self._blocks: deque[NDArray[np.int64]] = deque()
        self._rows = 0

    def add(self, table: NDArray[np.int64]) -> None:
        """Take in unwrapped samples, shape (n, len(COLUMNS)), before their ticks are judged."""
        new = len(table)
        if not new:
            return
        self._blocks.append(table)
        self._rows += new
        # The first tick of this block may ask for what came before it.
        while self._rows - len(self._blocks[0]) >= KEPT + new:
            self._rows -= len(self._blocks.popleft())

    def upto(self, at: Position) -> NDArray[np.int64]:
        """The samples up to a position, the newest `KEPT` of its segment at most, oldest first.

        The same however the stream was cut into blocks.
        """
        if not self._blocks:
            return np.empty((0, len(COLUMNS)), dtype=np.int64)
        rows = np.concatenate(self._blocks)
        known = (rows[:, _SEGMENT] == at.segment) & (rows[:, _SEQ] <= at.seq)
        newest: NDArray[np.int64] = rows[known][-KEPT:]
        return newest
