"""Samples as the board sent them: one integer table, a column a field.

Everything downstream of the decoder (unwrapping, storage, replay) works on this table, so a
block of one live sample and a block of a million stored ones take the same path.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

COUNTER_MODULUS: Final = 1 << 32
"""The board's counters and clock are unsigned 32-bit and wrap."""

ABSENT: Final = -1
"""Stands for an optional field that the board did not send (valve, wheel, wheel edge)."""

FIELDS: Final = (
    "boot",
    "seq",
    "clock_us",
    "pulses",
    "edge_us",
    "adc_sum",
    "adc_n",
    "adc_min",
    "adc_max",
    "valve",
    "wheel",
    "wheel_edge_us",
)
"""Column order of a sample table and of the sample record on the wire."""


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """A block of samples, in the order of arrival.

    Attributes:
        table: int64 array of shape (n, 12), columns as in `FIELDS`. Raw: counters are still
            modulo 2**32, and optional fields hold `ABSENT` where the board sent none.
    """

    table: NDArray[np.int64]

    @classmethod
    def of(cls, rows: Iterable[Sequence[int]]) -> Samples:
        """Make a block from rows of 12 integers."""
        table = np.array(list(rows), dtype=np.int64)
        return cls(table.reshape(-1, len(FIELDS)))

    @classmethod
    def join(cls, blocks: Sequence[Samples]) -> Samples:
        """Put blocks behind one another."""
        if not blocks:
            return cls.of([])
        return cls(np.concatenate([block.table for block in blocks]))

    def __len__(self) -> int:
        return len(self.table)

    def __getitem__(self, part: slice) -> Samples:
        return Samples(self.table[part])

    def column(self, field: str) -> NDArray[np.int64]:
        """One column, as a view of shape (n,)."""
        view: NDArray[np.int64] = self.table[:, FIELDS.index(field)]
        return view

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Samples) and np.array_equal(self.table, other.table)

    __hash__ = None  # type: ignore[assignment]  # an array can change
