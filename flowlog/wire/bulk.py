"""Many plain sample lines to one table at once: the same checks as `parse`, in columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.wire.records import HIGHEST_BOOT, U32
from flowlog.wire.samples import ABSENT, FIELDS

_WORTH_A_TABLE: Final = 12  # lines; below this numpy's start-up costs more than it saves


def rows_of(texts: Sequence[bytes], fields: int) -> NDArray[np.int64] | None:
    """Table of shape (n, 12) of n sample lines without optional gaps, if nothing is wrong.

    Args:
        texts: Between `S,` and `*`: digits and commas only, and `fields` - 1 commas each.
        fields: 9, 10 or 12.

    Returns:
        None if a line needs a closer look.
    """
    if len(texts) < _WORTH_A_TABLE:
        return _one_by_one(texts, fields)
    joined = b",".join(texts)
    if b",," in joined or joined.startswith(b",") or joined.endswith(b","):
        return None
    # A number too large for int64 comes out as the largest one, which is above U32 as well.
    read = np.fromstring(joined, dtype=np.int64, sep=",").reshape(-1, fields)
    if int(read.max()) > U32:
        return None
    # Products of two u32 need all 64 bits.
    total, n, low, high = (read[:, column].astype(np.uint64) for column in range(5, 9))
    good = (read[:, 0] <= HIGHEST_BOOT) & (n > 0) & (n * low <= total) & (total <= n * high)
    if fields > 9:
        good &= read[:, 9] <= 1
    if not good.all():
        return None
    table = np.full((len(read), len(FIELDS)), ABSENT, dtype=np.int64)
    table[:, :fields] = read
    return table


def _one_by_one(texts: Sequence[bytes], fields: int) -> NDArray[np.int64] | None:
    gap = [ABSENT] * (len(FIELDS) - fields)
    flat: list[int] = []
    for text in texts:
        try:
            row = list(map(int, text.split(b",")))
        except ValueError:  # an empty field
            return None
        row += gap
        n = row[6]
        if not (
            max(row) <= U32
            and row[0] <= HIGHEST_BOOT
            and n
            and n * row[7] <= row[5] <= n * row[8]
            and row[9] <= 1
        ):
            return None
        flat += row
    return np.array(flat, dtype=np.int64).reshape(-1, len(FIELDS))
