"""What the host says to a board in the course of a check, and when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from flowlog.wire.conformance.heard import SentKind
from flowlog.wire.encode import encode_alarm, encode_hello_request

DAMAGED: Final = b"Q*0000\n"
"""A request whose checksum is wrong."""

_BINARY: Final = bytes(byte for byte in range(256) if byte != 0x0A)
_LONG: Final = b"Q" * 400
_TYPES: Final = b"Z,1,2*FFFF\nA,9,9*FFFF\nA*\n*\n,\n"
GARBAGE: Final = (_BINARY, _LONG, _TYPES, b"A,3")
"""All bytes there are, a line without end, lines that are none, a line broken off."""


@dataclass(frozen=True, slots=True)
class Step:
    """Something to send."""

    at_s: float
    """Since the check began."""
    kind: SentKind | None
    """None: the LF that ends what was broken off, which is no command."""
    data: bytes
    told: str = ""
    """For the person who looks on."""


def steps(listen_s: float) -> tuple[list[Step], float]:
    """What to send after `listen_s` seconds of listening only, and when the check ends."""
    ask = encode_hello_request()
    plan = [Step(0.0, "hello", ask, "asking for a hello"), Step(1.0, "hello", ask)]
    at_s = 2.5
    for number, name in ((1, "slow"), (2, "fast"), (3, "steady"), (0, "off")):
        told = f"lamp and buzzer {name}: look whether they are"
        plan.append(Step(at_s, "alarm", encode_alarm(number, number), told))
        at_s += 2.0
    for told in ("asking with a wrong checksum, twice", ""):
        plan.append(Step(at_s, "damaged", DAMAGED, told))
        at_s += 1.6
    for data in GARBAGE:
        told = "sending garbage" if data is GARBAGE[0] else ""
        plan.append(Step(at_s, "garbage", data, told))
        at_s += 0.4
    at_s += 1.6
    plan += [Step(at_s, None, b"\n"), Step(at_s + 0.05, "hello", ask, "asking again")]
    moved = [Step(listen_s + s.at_s, s.kind, s.data, s.told) for s in plan]
    return moved, listen_s + at_s + 2.0
