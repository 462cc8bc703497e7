"""What came from the board, in order: lines with the time at which the host had them whole."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from flowlog.wire.lines import LineSplitter
from flowlog.wire.parse import Fault, parse
from flowlog.wire.records import Hello

Piece = tuple[float | None, bytes]
"""Host time in seconds of any steady clock, or None if nobody noted it; bytes."""

SLOW_HOST_BYTES: Final = 2048
"""Bytes in one piece that show that the host had not read for a while (0.18 s at 115200 baud)."""

_TEXT: Final = bytes(range(0x20, 0x7F)) + b"\r\n"

Stall = tuple[float, float]
"""From when to when the host did not come to read, by the clock of the pieces."""

SentKind = Literal["hello", "alarm", "damaged", "garbage"]


@dataclass(frozen=True, slots=True)
class Sent:
    """Something that was sent to the board."""

    at_s: float
    """By the same clock as the pieces."""
    kind: SentKind
    """A good request for a hello, a good pattern, a request with a wrong checksum, garbage."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line as it came."""

    at_s: float | None
    """When its last byte was there."""
    raw: bytes
    record: Hello | list[int] | Fault | None
    """None: a good line of another type."""
    extra: bool = False
    """Fields behind those that this version knows."""
    after_wait: bool = False
    """It came in a piece for which the host had not read for a while."""

    @property
    def shown(self) -> str:
        """The line for a person, at most 100 characters of it."""
        text = self.raw.decode("latin-1").encode("unicode_escape").decode("ascii")
        return text if len(text) <= 100 else text[:100] + "..."


@dataclass(slots=True)
class Heard:
    """All that came."""

    lines: list[Line] = field(default_factory=list)
    sent: Sequence[Sent] = ()
    stalls: Sequence[Stall] = ()
    bytes: int = 0
    begins: float | None = None
    """Host time of the first piece."""
    ends: float | None = None
    """Of the last one, which may be empty."""
    cut_in: bool = False
    """The first line was the rest of one under way and is left out."""
    line_feeds: int = 0
    returns: int = 0
    """CR bytes."""
    not_text: int = 0
    """Bytes that belong into no line."""

    faults: list[tuple[int, Line, Fault]] = field(default_factory=list)
    """Bad lines with their place among `lines`."""
    hellos: list[tuple[int, Line, Hello]] = field(default_factory=list)
    """Hellos with their place among `lines`."""

    def add(self, line: Line) -> None:
        """One more line behind the others."""
        if isinstance(line.record, Fault):
            self.faults.append((len(self.lines), line, line.record))
        elif isinstance(line.record, Hello):
            self.hellos.append((len(self.lines), line, line.record))
        self.lines.append(line)

    def stalled(self, begin_s: float, end_s: float) -> bool:
        """Whether the host itself was not there at some time within these."""
        return any(begin <= end_s and begin_s <= end for begin, end in self.stalls)


def hear(pieces: Iterable[Piece], sent: Sequence[Sent] = (), stalls: Sequence[Stall] = ()) -> Heard:
    """Cut the pieces into lines and read each one.

    The first line is left out if it is bad: whoever begins to listen hears the end of one.
    """
    heard = Heard(sent=tuple(sent), stalls=tuple(stalls))
    splitter = LineSplitter()
    for at_s, data in pieces:
        heard.bytes += len(data)
        heard.line_feeds += data.count(b"\n")
        heard.returns += data.count(b"\r")
        heard.not_text += len(data.translate(None, _TEXT))
        if at_s is not None:
            heard.begins = at_s if heard.begins is None else heard.begins
            heard.ends = at_s
        slow = at_s is not None and (len(data) >= SLOW_HOST_BYTES or heard.stalled(at_s, at_s))
        for raw in splitter.feed(data):
            line = _read(at_s, raw, slow)
            if line is None:
                continue
            if not heard.lines and not heard.cut_in and _may_be_cut(line):
                heard.cut_in = True
                continue
            heard.add(line)
    return heard


def _may_be_cut(line: Line) -> bool:
    # A fault in a line that has its checksum right is none of cutting in.
    return isinstance(line.record, Fault) and line.record.kind != "malformed"


def _read(at_s: float | None, raw: bytes, slow: bool) -> Line | None:
    text = raw.removesuffix(b"\r")
    if not text:
        return None
    match parse(raw, text):
        case Fault() as fault:
            return Line(at_s, raw, fault, after_wait=slow)
        case None:
            return Line(at_s, raw, None, after_wait=slow)
        case (record, extra):
            return Line(at_s, raw, record, extra, slow)
