"""Records to lines; refuses what a decoder would not take."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from flowlog.wire.crc import seal
from flowlog.wire.records import (
    CHANNELS_PATTERN,
    HIGHEST_ADC_BITS,
    HIGHEST_BOOT,
    HIGHEST_PERIOD_MS,
    NAME_PATTERN,
    RESET_CAUSES,
    U32,
    Hello,
)
from flowlog.wire.samples import ABSENT, FIELDS

_MANDATORY: Final = 9
_NAME: Final = re.compile(NAME_PATTERN)
_CHANNELS: Final = re.compile(CHANNELS_PATTERN)


def encode_sample(row: Sequence[int]) -> bytes:
    """One line for one row of 12 integers, columns as in `FIELDS`, `ABSENT` for what is not fitted.

    Trailing fields that are not fitted are left out; one in the middle stays empty.

    Raises:
        ValueError: the row is not one that a conforming board can send.
    """
    values = [int(value) for value in row]
    fault = sample_fault(values)
    if fault:
        raise ValueError(fault)
    last = max((i for i, value in enumerate(values) if value != ABSENT), default=0)
    text = ",".join("" if value == ABSENT else str(value) for value in values[: last + 1])
    return seal(b"S," + text.encode("ascii"))


def encode_hello(hello: Hello) -> bytes:
    """One line for a hello.

    Raises:
        ValueError: a field is outside its range.
    """
    fault = hello_fault(hello)
    if fault:
        raise ValueError(fault)
    return seal(
        f"H,{hello.boot},{hello.seq},{hello.protocol},{hello.firmware},{hello.board},"
        f"{hello.reset},{hello.period_ms},{hello.adc_bits},{hello.channels}".encode("ascii")
    )


def encode_alarm(lamp: int, buzzer: int) -> bytes:
    """Ask the board for a lamp and a buzzer pattern: 0 off, 1 slow, 2 fast, 3 steady.

    Raises:
        ValueError: a pattern is not one of 0, 1, 2, 3.
    """
    if lamp not in range(4) or buzzer not in range(4):
        raise ValueError(f"lamp {lamp}, buzzer {buzzer}: each must be 0, 1, 2 or 3")
    return seal(b"A,%d,%d" % (lamp, buzzer))


def encode_hello_request() -> bytes:
    """Ask the board to say hello."""
    return seal(b"Q")


def sample_fault(values: Sequence[int]) -> str:
    """What is wrong with a row of 12 integers, in one plain phrase; "" if nothing is."""
    if len(values) != len(FIELDS):
        return f"{len(values)} values where a sample has {len(FIELDS)}"
    for name, value in zip(FIELDS[:_MANDATORY], values[:_MANDATORY], strict=True):
        if not 0 <= value <= U32:
            return f"{name} {value} is not within 0..{U32}"
    boot, _, _, _, _, adc_sum, adc_n, adc_min, adc_max, valve, wheel, wheel_edge = values
    if boot > HIGHEST_BOOT:
        return f"boot {boot} is not within 0..{HIGHEST_BOOT}"
    if adc_n == 0:
        return "adc_n is 0: a sample needs at least one reading"
    if adc_min > adc_max:
        return f"adc_min {adc_min} is above adc_max {adc_max}"
    if not adc_n * adc_min <= adc_sum <= adc_n * adc_max:
        return f"adc_sum {adc_sum} is not that of {adc_n} readings from {adc_min} to {adc_max}"
    if valve not in {ABSENT, 0, 1}:
        return f"valve {valve} is neither 0 nor 1"
    for name, value in (("wheel", wheel), ("wheel_edge_us", wheel_edge)):
        if value != ABSENT and not 0 <= value <= U32:
            return f"{name} {value} is not within 0..{U32}"
    if (wheel == ABSENT) != (wheel_edge == ABSENT):
        return "wheel and wheel_edge_us come together or not at all"
    return ""


def hello_fault(hello: Hello) -> str:
    """What is wrong with a hello, in one plain phrase; "" if nothing is."""
    for name, value, low, high in (
        ("boot", hello.boot, 0, HIGHEST_BOOT),
        ("seq", hello.seq, 0, U32),
        ("protocol", hello.protocol, 1, 99),
        ("period_ms", hello.period_ms, 1, HIGHEST_PERIOD_MS),
        ("adc_bits", hello.adc_bits, 1, HIGHEST_ADC_BITS),
    ):
        if not low <= value <= high:
            return f"{name} {value} is not within {low}..{high}"
    for name, text in (("firmware", hello.firmware), ("board", hello.board)):
        if not _NAME.fullmatch(text):
            return f"{name} '{text}' is not 1 to 16 of A-Z a-z 0-9 . _ -"
    if hello.reset not in RESET_CAUSES:
        return f"reset '{hello.reset}' is not one of {', '.join(RESET_CAUSES)}"
    if not _CHANNELS.fullmatch(hello.channels) or len(set(hello.channels)) < len(hello.channels):
        return f"channels '{hello.channels}' is not 1 to 8 different capital letters"
    return ""
