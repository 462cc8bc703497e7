"""Bytes from the board to samples and hellos; everything else is counted, nothing is fatal."""

from __future__ import annotations

from binascii import crc_hqx
from collections import deque
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.wire.bulk import rows_of
from flowlog.wire.lines import LineSplitter
from flowlog.wire.parse import Fault, FaultKind, parse
from flowlog.wire.records import MAX_LINE, Hello
from flowlog.wire.samples import FIELDS, Samples

__all__ = ["Counts", "Decoded", "Decoder", "Fault", "FaultKind"]

_RECENT: Final = 16
_NUMERIC: Final = b",0123456789"
_PLAIN: Final = (9, 10, 12)
"""Commas of a sample with no gap: no option, the valve, the valve and the wheel."""


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
        lines = self._lines.feed(data)
        self.counts.overlong_bytes = self._lines.overlong_bytes
        if not lines:
            return Decoded()
        work = _Work(lines, self.counts)
        for i, line in enumerate(lines):
            # The sample as a healthy board sends it, thousands of times for each other line.
            body, star, crc = line.rpartition(b"*")
            if (
                star
                and crc.removesuffix(b"\r") == b"%04X" % crc_hqx(body, 0xFFFF)
                and body[:2] == b"S,"
                and len(line) < MAX_LINE
                and body.translate(None, _NUMERIC) == b"S"
                and (commas := body.count(b",")) in _PLAIN
            ):
                work.plain(i, body[2:], commas)
            else:
                work.other(i)
        decoded = work.done()
        for fault in decoded.faults:
            self._recent.append(fault)
        return decoded

    def drop_partial(self) -> None:
        """Forget a begun line, when what follows is known not to be its rest."""
        self._lines.drop()


class _Work:
    """The lines of one call. Plain samples of one form are gathered and read together."""

    def __init__(self, lines: list[bytes], counts: Counts) -> None:
        self._lines = lines
        self._counts = counts
        self._commas = 0
        self._texts: list[bytes] = []
        self._where: list[int] = []
        self._tables: list[NDArray[np.int64]] = []
        self._items: list[Samples | Hello] = []
        self._faults: list[tuple[int, Fault]] = []

    def plain(self, i: int, text: bytes, commas: int) -> None:
        """Line `i` has a right checksum and is made of digits and so many commas."""
        if commas != self._commas:
            self._read_gathered()
            self._commas = commas
        self._texts.append(text)
        self._where.append(i)

    def other(self, i: int) -> None:
        """Line `i` is a hello, a sample of another form, unknown, or a fault."""
        line = self._lines[i]
        text = line.removesuffix(b"\r")
        if not text:
            self._counts.blank += 1
            return
        match parse(line, text):
            case Fault() as fault:
                self._faults.append((i, fault))
            case None:
                self._counts.unknown += 1
            case (Hello() as hello, extra):
                self._counts.extra_fields += extra
                self._end_block()
                self._items.append(hello)
                self._counts.hellos += 1
            case (row, extra):
                self._counts.extra_fields += extra
                self._read_gathered()
                self._tables.append(np.array([row], dtype=np.int64))

    def done(self) -> Decoded:
        self._end_block()
        # A damaged sample among the gathered ones is found later than it came.
        self._faults.sort(key=lambda found: found[0])
        for _, fault in self._faults:
            name = fault.kind.replace(" ", "_")
            setattr(self._counts, name, getattr(self._counts, name) + 1)
        return Decoded(self._items, [fault for _, fault in self._faults])

    def _read_gathered(self) -> None:
        if not self._texts:
            return
        texts, self._texts = self._texts, []
        where, self._where = self._where, []
        table = rows_of(texts, self._commas)
        if table is None:
            rows: list[list[int]] = []
            for i in where:
                match parse(self._lines[i], self._lines[i].removesuffix(b"\r")):
                    case Fault() as fault:
                        self._faults.append((i, fault))
                    case (list() as row, _):
                        rows.append(row)
            table = np.array(rows, dtype=np.int64).reshape(-1, len(FIELDS))
        if len(table):
            self._tables.append(table)

    def _end_block(self) -> None:
        self._read_gathered()
        if self._tables:
            tables, self._tables = self._tables, []
            block = Samples(tables[0] if len(tables) == 1 else np.concatenate(tables))
            self._items.append(block)
            self._counts.samples += len(block)
