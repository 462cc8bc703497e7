"""Whole numbers as few bytes: zigzag and base-128 varints, a whole array at a time.

Arithmetic is modulo 2**64 throughout, so that every int64 value survives the round trip.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

_LONGEST: Final = 10
"""Bytes of the longest varint of 64 bits."""


def zigzag(values: NDArray[np.int64]) -> NDArray[np.uint64]:
    """Fold the sign into the lowest bit: 0, -1, 1, -2 become 0, 1, 2, 3. Any shape."""
    unsigned = values.view(np.uint64)
    sign = (values >> np.int64(63)).view(np.uint64)
    return (unsigned << np.uint64(1)) ^ sign


def unzigzag(values: NDArray[np.uint64]) -> NDArray[np.int64]:
    """Undo `zigzag`."""
    sign = np.uint64(0) - (values & np.uint64(1))
    return ((values >> np.uint64(1)) ^ sign).view(np.int64)


def pack(values: NDArray[np.uint64]) -> bytes:
    """Varints one behind the other, seven bits a byte, lowest first, 0x80 on all but the last."""
    if not len(values):
        return b""
    if int(values.max()) < 0x80:
        return values.astype(np.uint8).tobytes()
    lengths = np.ones(len(values), dtype=np.int64)
    for digit in range(1, _LONGEST):
        more = values >> np.uint64(7 * digit) != 0
        if not more.any():
            break
        lengths += more
    starts = np.cumsum(lengths) - lengths
    out = np.empty(int(lengths.sum()), dtype=np.uint8)
    for digit in range(int(lengths.max())):
        has = lengths > digit
        byte = (values[has] >> np.uint64(7 * digit)) & np.uint64(0x7F)
        going_on = np.where(lengths[has] > digit + 1, 0x80, 0)
        out[starts[has] + digit] = byte.astype(np.int64) | going_on
    return out.tobytes()


def unpack(data: bytes, count: int) -> NDArray[np.uint64]:
    """Read exactly `count` varints that fill `data`.

    Raises:
        ValueError: if `data` holds another number of them.
    """
    octets = np.frombuffer(data, dtype=np.uint8)
    last = octets < 0x80
    if np.count_nonzero(last) != count or (count and not last[-1]) or (not count and len(octets)):
        raise ValueError(f"{len(octets)} bytes do not hold {count} varints")
    if len(octets) == count:
        return octets.astype(np.uint64)
    ends = np.flatnonzero(last)
    starts = np.concatenate(([0], ends[:-1] + 1))
    lengths = ends - starts + 1
    if int(lengths.max()) > _LONGEST:
        raise ValueError(f"a varint of {int(lengths.max())} bytes")
    values = (octets[starts] & 0x7F).astype(np.uint64)
    for digit in range(1, int(lengths.max())):
        has = np.flatnonzero(lengths > digit)
        seven = (octets[starts[has] + digit] & 0x7F).astype(np.uint64)
        values[has] |= seven << np.uint64(7 * digit)
    return values
