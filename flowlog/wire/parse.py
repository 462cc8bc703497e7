"""One line to one record, carefully: says what is wrong with whatever is not right."""

from __future__ import annotations

import re
from binascii import crc_hqx
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from flowlog.wire.encode import hello_fault, sample_fault
from flowlog.wire.records import MAX_LINE, U32, Hello
from flowlog.wire.samples import ABSENT, FIELDS

FaultKind = Literal["bad crc", "malformed", "too long", "not text"]

_NOT_PRINTABLE: Final = re.compile(rb"[^\x20-\x7e]")
_HELLO_FIELDS: Final = 10


@dataclass(frozen=True, slots=True)
class Fault:
    """One line that was dropped, and why."""

    kind: FaultKind
    line: bytes
    """The line as received, at most `MAX_LINE` bytes of it."""
    text: str
    """What is wrong with it, in one plain phrase."""


def parse(line: bytes, text: bytes) -> tuple[Hello | list[int], bool] | Fault | None:
    """One line, with and without its CR, to what it is.

    Returns a record (a hello, or a sample's row of 12 integers) and whether fields were left
    over; or a fault; or None for a type that this version does not know.
    """
    if len(line) >= MAX_LINE:
        return Fault("too long", line, f"longer than {MAX_LINE} bytes")
    odd = _NOT_PRINTABLE.search(text)
    if odd:
        byte = text[odd.start()]
        return Fault("not text", line, f"byte 0x{byte:02X} at position {odd.start()} is no text")
    body, star, crc = text.rpartition(b"*")
    if not star:
        return Fault("bad crc", line, "no checksum: a line ends with * and four hex digits")
    right = b"%04X" % crc_hqx(body, 0xFFFF)
    if crc != right:
        said, made = crc.decode("ascii"), right.decode("ascii")
        return Fault("bad crc", line, f"the checksum says {said}, the text gives {made}")
    kind, *fields = body.decode("ascii").split(",")
    try:
        if kind == "S":
            return _sample(fields)
        if kind == "H":
            return _hello(fields)
    except ValueError as error:
        return Fault("malformed", line, str(error))
    if not kind:
        return Fault("malformed", line, "no record type")
    return None


def _number(name: str, text: str) -> int:
    # The line is ASCII by now, so isdigit means 0-9: no sign, space, underscore or other script.
    if not text.isdigit() or int(text) > U32:
        raise ValueError(f"{name} '{text}' is not a whole number within 0..{U32}")
    return int(text)


def _sample(fields: Sequence[str]) -> tuple[list[int], bool]:
    if len(fields) < 9:
        raise ValueError(f"{len(fields)} fields where a sample has at least 9")
    row = [_number(name, text) for name, text in zip(FIELDS[:9], fields, strict=False)]
    for name, text in zip(FIELDS[9:], [*fields[9:12], "", "", ""], strict=False):
        row.append(_number(name, text) if text else ABSENT)
    fault = sample_fault(row)
    if fault:
        raise ValueError(fault)
    return row, len(fields) > len(FIELDS)


def _hello(fields: Sequence[str]) -> tuple[Hello, bool]:
    known = _HELLO_FIELDS - 1
    if len(fields) < known:
        raise ValueError(f"{len(fields)} fields where a hello has at least {known}")
    boot, seq, protocol, firmware, board, reset, period_ms, adc_bits, channels = fields[:known]
    hello = Hello(
        boot=_number("boot", boot),
        seq=_number("seq", seq),
        protocol=_number("protocol", protocol),
        firmware=firmware,
        board=board,
        reset=reset,
        period_ms=_number("period_ms", period_ms),
        adc_bits=_number("adc_bits", adc_bits),
        channels=channels,
    )
    fault = hello_fault(hello)
    if fault:
        raise ValueError(fault)
    return hello, len(fields) > known
