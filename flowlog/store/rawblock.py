"""Raw samples as one small blob: lossless for any int64 table, compact for what boards send.

A blob is `codec (1 byte), count (u32), crc32 of all the rest (u32), payload`. Two codecs:

- `PLAIN`: differences down each column, deflated. Cheap; for the second that was just recorded.
- `COLUMNS`: each column is predicted, from its past or from another column of the same sample,
  and what is left goes through zigzag, varint and deflate, column by column. Of a few fixed
  predictions the encoder keeps the one that came out smallest, so that a surprising block
  costs bytes and never correctness. A column that is predicted without error has no bytes.

The predictions say what the board does: the sequence number and the clock tick along, the last
edge lies (pulses x period) after the edge before, the sum of ADC readings is (number x mean),
and minimum and maximum stay at a distance from that mean.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from flowlog.store.varint import pack, unpack, unzigzag, zigzag
from flowlog.wire.samples import FIELDS, Samples

PLAIN: Final = 1
COLUMNS: Final = 2

_HEADER: Final = struct.Struct("<BII")
_LEVEL: Final = 6
_LARGEST_FACTOR: Final = 2**31

Column = NDArray[np.int64]
Columns = dict[str, Column]


class RawBlockError(ValueError):
    """A blob that is not what the encoder made."""


@dataclass(frozen=True, slots=True)
class _Prediction:
    """A column is `factor` x `reference` + rest; `order` 1 keeps differences of the rest."""

    reference: str | None
    order: int
    factor: Literal["one", "slope", "ratio"] = "one"


_MEAN: Final = "adc_mean"
"""A reference that is no column: the whole-number mean of the ADC readings."""

_STEADY: Final = (_Prediction(None, 1),)
_LEVEL_OR_STEP: Final = (_Prediction(None, 0), _Prediction(None, 1))

_PREDICTIONS: Final[dict[str, tuple[_Prediction, ...]]] = {
    "boot": _STEADY,
    "seq": _STEADY,
    "clock_us": (*_STEADY, _Prediction("seq", 0, "slope")),
    "pulses": _STEADY,
    "edge_us": (*_STEADY, _Prediction("clock_us", 0), _Prediction("pulses", 1, "slope")),
    "adc_n": _LEVEL_OR_STEP,
    "adc_sum": (
        *_LEVEL_OR_STEP,
        _Prediction("adc_n", 0, "ratio"),
        _Prediction("adc_n", 1, "ratio"),
    ),
    "adc_min": (*_LEVEL_OR_STEP, _Prediction(_MEAN, 0)),
    "adc_max": (*_LEVEL_OR_STEP, _Prediction(_MEAN, 0)),
    "valve": _STEADY,
    "wheel": _STEADY,
    "wheel_edge_us": (*_STEADY, _Prediction("clock_us", 0), _Prediction("wheel", 1, "slope")),
}
"""In the order of encoding: a reference must come before the column that leans on it. The place
in a tuple is part of the format: append only."""


def encode(samples: Samples) -> bytes:
    """Pack a block with `COLUMNS`, the codec for keeping."""
    columns = {name: np.ascontiguousarray(samples.column(name)) for name in FIELDS}
    payload = b""
    if len(samples):
        payload = b"".join(_encode_column(name, columns) for name in _PREDICTIONS)
    return _wrap(COLUMNS, len(samples), payload)


def encode_plain(samples: Samples) -> bytes:
    """Pack a few samples with `PLAIN`, fast."""
    steps = samples.table.copy()
    steps[1:] -= samples.table[:-1]
    octets = np.ascontiguousarray(steps.T).astype("<i8").tobytes()
    return _wrap(PLAIN, len(samples), zlib.compress(octets, 1))


def decode(blob: bytes) -> Samples:
    """Unpack a blob of either codec.

    Raises:
        RawBlockError: for a damaged blob or one of an unknown codec.
    """
    if len(blob) < _HEADER.size:
        raise RawBlockError(f"a block of {len(blob)} bytes is shorter than its header")
    codec, count, crc = _HEADER.unpack_from(blob)
    payload = blob[_HEADER.size :]
    if _checksum(codec, count, payload) != crc:
        raise RawBlockError("the block's checksum does not fit its contents")
    readers: dict[int, Callable[[bytes, int], Samples]] = {
        PLAIN: _decode_plain,
        COLUMNS: _decode_columns,
    }
    if codec not in readers:
        raise RawBlockError(f"codec {codec} is not known here")
    try:
        return readers[codec](payload, count)
    except (ValueError, IndexError, zlib.error) as fault:
        raise RawBlockError(f"the block does not unpack: {fault}") from fault


def _wrap(codec: int, count: int, payload: bytes) -> bytes:
    return _HEADER.pack(codec, count, _checksum(codec, count, payload)) + payload


def _checksum(codec: int, count: int, payload: bytes) -> int:
    return zlib.crc32(payload, zlib.crc32(struct.pack("<BI", codec, count)))


def _decode_plain(payload: bytes, count: int) -> Samples:
    steps = np.frombuffer(zlib.decompress(payload), dtype="<i8").astype(np.int64)
    return Samples(np.cumsum(steps.reshape(len(FIELDS), count), axis=1).T.copy())


# --- one column -----------------------------------------------------------------------------


def _encode_column(name: str, columns: Columns) -> bytes:
    tries = (
        _encode_as(name, columns, place, prediction)
        for place, prediction in enumerate(_PREDICTIONS[name])
    )
    return min(tries, key=len)


def _encode_as(name: str, columns: Columns, place: int, prediction: _Prediction) -> bytes:
    values = columns[name]
    reference = _reference(prediction, columns)
    factor = 0 if reference is None else _factor(prediction, values, reference)
    rest = values if reference is None else values - np.int64(factor) * reference
    start = int(rest[0])
    steps = rest[1:] - rest[:-1] if prediction.order else rest
    bias = int(np.sort(steps)[len(steps) // 2]) if len(steps) else 0
    left = zigzag(steps - np.int64(bias))
    octets = b""
    if left.any():
        plain = pack(left)
        octets = min((_deflate(plain), plain), key=len)
        place |= 0x80 if octets is plain else 0
    numbers = np.array([factor, start, bias], dtype=np.int64)
    head = pack(np.concatenate((np.array([place], dtype=np.uint64), zigzag(numbers))))
    return head + pack(np.array([len(octets)], dtype=np.uint64)) + octets


def _decode_columns(payload: bytes, count: int) -> Samples:
    columns: Columns = {}
    at = 0
    for name, predictions in _PREDICTIONS.items() if count else ():
        head, at = _numbers(payload, at, 5)
        place = int(head[0])
        factor, start, bias = unzigzag(head[1:4])
        prediction = predictions[place & 0x7F]
        octets = payload[at : at + int(head[4])]
        at += int(head[4])
        expected = count - 1 if prediction.order else count
        steps = np.full(expected, bias, dtype=np.int64)
        if octets:
            plain = octets if place & 0x80 else zlib.decompress(octets, wbits=-15)
            steps += unzigzag(unpack(plain, expected))
        rest = np.cumsum(np.concatenate(([start], steps))) if prediction.order else steps
        reference = _reference(prediction, columns)
        columns[name] = rest if reference is None else rest + factor * reference
    if at != len(payload):
        raise RawBlockError(f"{len(payload) - at} bytes too many in the block")
    if not count:
        return Samples.of([])
    # Column behind column in memory, as the pipeline works on them.
    return Samples(np.array([columns[name] for name in FIELDS]).T)


def _reference(prediction: _Prediction, columns: Columns) -> Column | None:
    if prediction.reference is None:
        return None
    if prediction.reference == _MEAN:
        number = columns["adc_n"]
        safe = np.where(number > 0, number, 1)
        mean: Column = columns["adc_sum"] // safe
        return mean
    return columns[prediction.reference]


def _factor(prediction: _Prediction, values: Column, reference: Column) -> int:
    """A whole factor that makes `values - factor * reference` small; any would be correct."""
    high, low = values.astype(np.float64), reference.astype(np.float64)
    if prediction.factor == "slope":
        rise, run = high[-1] - high[0], low[-1] - low[0]
    elif prediction.factor == "ratio":
        rise, run = high.sum(), low.sum()
    else:
        return 1
    factor = rise / run if run else 0.0
    return round(factor) if abs(factor) < _LARGEST_FACTOR else 0


def _numbers(payload: bytes, at: int, count: int) -> tuple[NDArray[np.uint64], int]:
    """`count` varints of a header, and where the next byte is."""
    numbers = []
    for _ in range(count):
        number = digit = 0
        while payload[at] >= 0x80:
            number |= (payload[at] & 0x7F) << digit
            digit += 7
            at += 1
        numbers.append(number | payload[at] << digit)
        if numbers[-1] >> 64:
            raise ValueError("a number of more than 64 bits")
        at += 1
    return np.array(numbers, dtype=np.uint64), at


def _deflate(octets: bytes) -> bytes:
    # Raw deflate: the blob has its own checksum. Filtered: what is left is noise, and chance
    # matches of three bytes cost more than they save.
    squeeze = zlib.compressobj(_LEVEL, zlib.DEFLATED, -15, 9, zlib.Z_FILTERED)
    return squeeze.compress(octets) + squeeze.flush()
