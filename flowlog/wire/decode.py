"""Bytes from the board to samples and hellos; everything else is counted, nothing is fatal."""

from __future__ import annotations

import re
from array import array
from binascii import crc_hqx
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from flowlog.wire.encode import hello_fault, sample_fault
from flowlog.wire.lines import LineSplitter
from flowlog.wire.records import HIGHEST_BOOT, MAX_LINE, U32, Hello
from flowlog.wire.samples import ABSENT, FIELDS, Samples

FaultKind = Literal["bad crc", "malformed", "too long", "not text"]

_RECENT: Final = 16
_OPTIONAL_ABSENT: Final = (ABSENT, ABSENT, ABSENT)
_NUMERIC: Final = b",0123456789"
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


@dataclass(slots=True)
class Counts:
    """What a decoder has seen since it was made."""

    samples: int = 0
    hellos: int = 0
    unknown: int = 0
    """Good lines of a type that this version does not know."""
    extra_fields: int = 0
    """Good lines with fields behind those that this version knows."""
    blank: int = 0
    bad_crc: int = 0
    malformed: int = 0
    too_long: int = 0
    not_text: int = 0
    overlong_bytes: int = 0
    """Bytes of the lines that were too long."""

    @property
    def faults(self) -> int:
        """Lines that were dropped because something was wrong with them."""
        return self.bad_crc + self.malformed + self.too_long + self.not_text


@dataclass(slots=True)
class Decoded:
    """What one call of `Decoder.feed` found, in the order of arrival."""

    items: list[Samples | Hello] = field(default_factory=list)
    """Samples that follow one another directly are in one block."""
    faults: list[Fault] = field(default_factory=list)


class Decoder:
    """Takes bytes in pieces of any size; the pieces make no difference to what comes out.

    Time is linear in the bytes fed, and at most one begun line is kept between calls.
    """

    def __init__(self) -> None:
        self._lines = LineSplitter()
        self._recent: deque[Fault] = deque(maxlen=_RECENT)
        self.counts: Final = Counts()

    @property
    def recent_faults(self) -> tuple[Fault, ...]:
        """The last bad lines, oldest first, for diagnosis."""
        return tuple(self._recent)

    def feed(self, data: bytes) -> Decoded:
        """Decode the lines that `data` completes."""
        decoded = Decoded()
        flat: list[int] = []
        for line in self._lines.feed(data):
            # The sample as a healthy board sends it, thousands of times for each other line.
            body, star, crc = line.rpartition(b"*")
            if (
                star
                and crc.removesuffix(b"\r") == b"%04X" % crc_hqx(body, 0xFFFF)
                and body[:2] == b"S,"
                and len(line) < MAX_LINE
                and body.translate(None, _NUMERIC) == b"S"
            ):
                row = _plain_row(body)
                if row:
                    flat += row
                    continue
            self._other(line, decoded, flat)
        self.counts.overlong_bytes = self._lines.overlong_bytes
        self._flush(decoded, flat)
        return decoded

    def drop_partial(self) -> None:
        """Forget a begun line, when what follows is known not to be its rest."""
        self._lines.drop()

    def _flush(self, decoded: Decoded, flat: list[int]) -> None:
        if flat:
            table = np.frombuffer(array("q", flat), dtype=np.int64).reshape(-1, len(FIELDS))
            decoded.items.append(Samples(table))
            self.counts.samples += len(table)
            flat.clear()

    def _other(self, line: bytes, decoded: Decoded, flat: list[int]) -> None:
        """Whatever is not a plain sample: hello, short or extended sample, unknown, or a fault."""
        text = line.removesuffix(b"\r")
        if not text:
            self.counts.blank += 1
            return
        found = _slow(line, text)
        match found:
            case Fault(kind):
                decoded.faults.append(found)
                self._recent.append(found)
                attribute = kind.replace(" ", "_")
                setattr(self.counts, attribute, getattr(self.counts, attribute) + 1)
            case None:
                self.counts.unknown += 1
            case (record, extra):
                self.counts.extra_fields += extra
                if isinstance(record, Hello):
                    self._flush(decoded, flat)
                    decoded.items.append(record)
                    self.counts.hellos += 1
                else:
                    flat += record


def _plain_row(body: bytes) -> list[int] | None:
    """The row of a sample line with no empty and no extra field, if nothing is wrong with it."""
    try:
        row = list(map(int, body[2:].split(b",")))
    except ValueError:
        return None
    size = len(row)
    if size == 9:
        row += _OPTIONAL_ABSENT
    elif size == 10:
        row += _OPTIONAL_ABSENT[:2]
    elif size != 12:
        return None
    n = row[6]
    if (
        max(row) <= U32
        and row[0] <= HIGHEST_BOOT
        and n
        and n * row[7] <= row[5] <= n * row[8]
        and row[9] <= 1
    ):
        return row
    return None


def _slow(line: bytes, text: bytes) -> tuple[Hello | list[int], bool] | Fault | None:
    """A record and whether fields were left over; a fault; or None for an unknown type."""
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
