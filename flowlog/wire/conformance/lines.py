"""L: lines, characters, checksums."""

from __future__ import annotations

import re
from binascii import crc_hqx
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from flowlog.wire.conformance.heard import Heard, Line
from flowlog.wire.conformance.rules import Finding, failed, passed, unseen
from flowlog.wire.conformance.runs import Told
from flowlog.wire.parse import Fault
from flowlog.wire.records import MAX_LINE

_CONTROL: Final = re.compile(rb"[\x00-\x1f\x7f-\xff]")
_ODD_SHARE: Final = 0.1
"""Share of bytes that are no text above which the two sides speak at different speeds."""
_ECHO: Final = re.compile(rb"(?:Q|A,\d,\d)\*[0-9A-F]{4}")


def line_findings(told: Told) -> Iterator[Finding]:
    """Findings L1 to L5."""
    heard = told.heard
    if not heard.lines:
        yield from _without_lines(heard)
        return
    bad = _own_faults(told)
    yield _kind("L1", heard, bad, lambda fault: fault.kind == "too long")
    yield _kind(
        "L2", heard, bad, lambda fault: fault.kind == "not text" and not _misplaced_return(fault)
    )
    yield _ends(heard, bad)
    yield _checksums(heard, bad)
    yield _own_records(heard)


def _without_lines(heard: Heard) -> Iterator[Finding]:
    why = f"no whole line in {heard.bytes} bytes"
    yield from (unseen(number, why) for number in ("L1", "L4", "L5"))
    if heard.not_text > _ODD_SHARE * heard.bytes:
        yield failed("L2", f"{heard.not_text} of {heard.bytes} bytes are no text")
    else:
        yield unseen("L2", why)
    if heard.line_feeds or heard.bytes < MAX_LINE:
        yield unseen("L3", why)
    else:
        yield failed("L3", f"{heard.bytes} bytes with {heard.returns} CR and no LF at all")


def _own_faults(told: Told) -> list[tuple[Line, Fault]]:
    """Bad lines, without those that a start of the board cut off."""
    firsts = [int(run.where[0]) for run in told.runs if run.started]
    ends = [int(run.where[-1]) for run in told.runs]
    return [
        (line, fault)
        for i, line, fault in told.heard.faults
        # Between the last sample of a run and the first one of the next.
        if not any(end < i < first for end, first in zip(ends, firsts, strict=False))
        or fault.kind == "malformed"
    ]


def _kind(
    number: str,
    heard: Heard,
    bad: Sequence[tuple[Line, Fault]],
    belongs: Callable[[Fault], bool],
) -> Finding:
    found = [(line, fault) for line, fault in bad if belongs(fault)]
    if not found:
        return passed(number, f"{len(heard.lines)} lines")
    line, fault = found[0]
    return failed(
        number, f"{len(found)} of {len(heard.lines)} lines, first: {fault.text}: {line.shown}"
    )


def _misplaced_return(fault: Fault) -> bool:
    odd = _CONTROL.search(fault.line.removesuffix(b"\r"))
    return bool(odd) and odd is not None and odd[0] == b"\r"


def _ends(heard: Heard, bad: Sequence[tuple[Line, Fault]]) -> Finding:
    found = [line for line, fault in bad if fault.kind == "not text" and _misplaced_return(fault)]
    if not found:
        return passed("L3", "CR LF" if heard.returns else "LF")
    first = found[0].raw
    where = "at the beginning" if first.startswith(b"\r") else "in the middle"
    return failed(
        "L3",
        f"{len(found)} of {len(heard.lines)} lines with a CR {where}, first: {found[0].shown}",
        "send CR LF in this order, or better the LF alone" if first.startswith(b"\r") else "",
    )


def _checksums(heard: Heard, bad: Sequence[tuple[Line, Fault]]) -> Finding:
    found = [(line, fault) for line, fault in bad if fault.kind == "bad crc"]
    # An echo of what the host damaged on purpose is an echo, not a bad line of the board's.
    found = [(line, fault) for line, fault in found if line.raw not in {b"Q*0000", b"Q*0000\r"}]
    read = len(heard.lines) - sum(f.kind in {"too long", "not text"} for _, _, f in heard.faults)
    if not read:
        return unseen("L4", "no line of text came")
    if not found:
        return passed("L4", f"{read} lines")
    line, fault = found[0]
    # Two checksums out of 65536 are alike by chance: what most lines show is the mistake.
    reasons = Counter(_reason(line.raw.removesuffix(b"\r")) for line, _ in found)
    ((reason, times),) = reasons.most_common(1)
    reason = reason if times > 0.9 * len(found) else ""
    told = f"{len(found)} of {read} lines, first: {fault.text}: {line.shown}"
    return failed("L4", told, reason)


def _reason(text: bytes) -> str:
    """Which common mistake makes this checksum, as an advice; "" if none does."""
    body, star, said = text.rpartition(b"*")
    if not star:
        return "end each line with a star and four hexadecimal digits"
    if said.upper() == b"%04X" % crc_hqx(body, 0xFFFF):
        return "write the digits A to F as capitals (%04X)"
    if not re.fullmatch(rb"[0-9A-Fa-f]{4}", said):
        return "write exactly four hexadecimal digits, with leading zeros (%04X)"
    value = int(said, 16)
    right = crc_hqx(body, 0xFFFF)
    for made, advice in (
        (crc_hqx(body, 0), "start the checksum from 0xFFFF, not from 0"),
        (crc_hqx(body, 0x1D0F), "start the checksum from 0xFFFF, not from 0x1D0F"),
        (right ^ 0xFFFF, "leave out the final inversion of the checksum"),
        (right >> 8 | (right & 0xFF) << 8, "send the high byte of the checksum first"),
        (crc_hqx(body + b"*", 0xFFFF), "leave the star out of the checksum"),
        (crc_hqx(body[1:], 0xFFFF), "take the first character of the line into the checksum"),
        (crc_hqx(body[2:], 0xFFFF), "take the type and its comma into the checksum"),
        (_reflected(body, 0xFFFF, 0xA001), "use the polynomial 0x1021, not reflected"),
        (_reflected(body, 0xFFFF, 0x8408), "do not reflect the checksum's bits"),
        (_reflected(body, 0xFFFF, 0x8408) ^ 0xFFFF, "do not reflect the checksum's bits"),
        (_reflected(body, 0, 0x8408), "do not reflect the checksum's bits; start from 0xFFFF"),
    ):
        if value == made:
            return advice
    return ""


def _reflected(data: bytes, initial: int, polynomial: int) -> int:
    register = initial
    for byte in data:
        register ^= byte
        for _ in range(8):
            register = (register >> 1) ^ polynomial if register & 1 else register >> 1
    return register


def _own_records(heard: Heard) -> Finding:
    echoes = [line for line in heard.lines if _ECHO.fullmatch(line.raw.removesuffix(b"\r"))]
    if echoes:
        return failed("L5", f"{len(echoes)} lines of the host came back: {echoes[0].shown}")
    new = sum(line.record is None for line in heard.lines)
    extra = sum(line.extra for line in heard.lines)
    told = [f"{new} lines of types that this host does not know"] if new else []
    told += [f"{extra} lines with fields that it does not know"] if extra else []
    if not heard.sent:
        return unseen("L5", "nothing was sent that could be echoed; check a port to see it")
    return passed("L5", "; ".join(told))
