"""What a report was made from, as one number: other data, another fingerprint."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, is_dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flowlog.errors import FlowlogError

Columns = Mapping[str, NDArray[Any]]


class FingerprintError(FlowlogError):
    """Something that is no fingerprint."""


def fingerprint(columns: Columns, rows: Mapping[str, Iterable[object]]) -> str:
    """SHA-256 as 64 hexadecimal digits.

    Args:
        columns: the route's readings; every bit of them counts, but not where "not a number" came
            from.
        rows: everything else by name, dataclasses or plain data, in order.
    """
    digest = hashlib.sha256()
    for name in sorted(columns):
        column = columns[name]
        digest.update(f"{name}:{len(column)}\n".encode())
        digest.update(_bytes(column))
    for name in sorted(rows):
        plain = [_plain(row) for row in rows[name]]
        text = json.dumps(plain, sort_keys=True, separators=(",", ":"), default=str)
        digest.update(f"{name}:{text}\n".encode())
    return digest.hexdigest()


def grouped(hexadecimal: str) -> str:
    """In groups of eight, to be read out or compared by eye."""
    return " ".join(hexadecimal[place : place + 8] for place in range(0, len(hexadecimal), 8))


def _bytes(column: NDArray[Any]) -> bytes:
    match column.dtype.kind:
        case "f":
            values = column.astype("<f8")
            values[np.isnan(values)] = np.nan
            return values.tobytes()
        case "i":
            return column.astype("<i8").tobytes()
        case _:
            return "\n".join(column.tolist()).encode()


def _plain(row: object) -> object:
    return asdict(row) if is_dataclass(row) and not isinstance(row, type) else row


def beginning(said: str) -> str:
    """A fingerprint, or its beginning, as somebody copied it from a page.

    Raises:
        FingerprintError: it is none, or too short to say anything.
    """
    digits = "".join(said.split()).lower()
    if not 8 <= len(digits) <= 64 or set(digits) - set("0123456789abcdef"):
        raise FingerprintError(
            f"'{said[:80]}' is no fingerprint (8 to 64 of the digits 0-9 and a-f, as at the end of "
            "a report)"
        )
    return digits
