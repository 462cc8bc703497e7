"""What firmware gets wrong: each makes of a right board's bytes those of a broken one."""

from __future__ import annotations

from binascii import crc_hqx
from collections.abc import Callable

from flowlog.wire.crc import seal

Fields = list[str]


def lines(change: Callable[[bytes], bytes]) -> Callable[[float, bytes], bytes]:
    """A wire that changes each line, its LF included."""
    return lambda _, data: b"".join(change(line) for line in data.splitlines(keepends=True))


def timed_lines(change: Callable[[float, bytes], bytes]) -> Callable[[float, bytes], bytes]:
    return lambda t, data: b"".join(change(t, line) for line in data.splitlines(keepends=True))


def fields(kind: str, change: Callable[[Fields], Fields | None]) -> Callable[[float, bytes], bytes]:
    """A wire that changes the fields of one type of record and seals it again; None drops it."""

    def one(line: bytes) -> bytes:
        body = line.rpartition(b"*")[0].decode("ascii")
        found, *values = body.split(",")
        if found != kind:
            return line
        changed = change(values)
        return b"" if changed is None else seal(",".join([kind, *changed]).encode("latin-1"))

    return lines(one)


def put(place: int, change: Callable[[int], int | str]) -> Callable[[Fields], Fields]:
    """Changes the field at `place`, boot being 0."""

    def one(values: Fields) -> Fields:
        values[place] = str(change(int(values[place])))
        return values

    return one


def checksum(make: Callable[[bytes], bytes]) -> Callable[[float, bytes], bytes]:
    """Another checksum than the right one, made from the text before the star."""

    def one(line: bytes) -> bytes:
        body = line.rpartition(b"*")[0]
        return body + b"*" + make(body) + b"\n"

    return lines(one)


def reflected(body: bytes) -> bytes:
    register = 0xFFFF
    for byte in body:
        register ^= byte
        for _ in range(8):
            register = (register >> 1) ^ 0xA001 if register & 1 else register >> 1
    return b"%04X" % register


def pulses_since_last() -> Callable[[float, bytes], bytes]:
    """Sends the pulses since the last sample instead of the total."""
    last = [0]

    def one(values: Fields) -> Fields:
        total = int(values[3])
        values[3], last[0] = str(total - last[0]), total
        return values

    return fields("S", one)


def edge_jumps_when_still() -> Callable[[float, bytes], bytes]:
    """Takes the time of edges that it then does not count."""
    return fields("S", lambda v: [*v[:4], str((int(v[2]) - 1234) % (1 << 32)), *v[5:]])


def numbers_only_sent() -> Callable[[float, bytes], bytes]:
    """Drops every twentieth sample and numbers the sent ones: seq counts lines."""
    sent = [0]

    def one(values: Fields) -> Fields | None:
        if int(values[1]) % 20 == 19:
            return None
        values[1] = str(sent[0])
        sent[0] += 1
        return values

    return fields("S", one)


def twice(every: int) -> Callable[[float, bytes], bytes]:
    """Sends each so-manieth line twice."""
    count = [0]

    def one(line: bytes) -> bytes:
        count[0] += 1
        return line * 2 if count[0] % every == 0 else line

    return lines(one)


def clumps(length_s: float) -> Callable[[float, bytes], bytes]:
    """Keeps lines back and sends them together."""
    held = [b""]
    due = [length_s]

    def one(t: float, data: bytes) -> bytes:
        held[0] += data
        if t < due[0]:
            return b""
        due[0] = t + length_s
        out, held[0] = held[0], b""
        return out

    return one


def crc_from(initial: int) -> Callable[[bytes], bytes]:
    return lambda body: b"%04X" % crc_hqx(body, initial)
