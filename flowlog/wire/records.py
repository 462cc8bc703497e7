"""The records of the line protocol that are not samples, and the limits of their fields."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

PROTOCOL: Final = 1
"""The version of the line protocol that this package speaks."""

MAX_LINE: Final = 160
"""Longest line in bytes, its LF (and CR) included."""

U32: Final = 0xFFFF_FFFF
"""Highest value of a counter or clock."""

HIGHEST_BOOT: Final = 0xFFFF
HIGHEST_PERIOD_MS: Final = 10_000
HIGHEST_ADC_BITS: Final = 24

RESET_CAUSES: Final = ("power", "brownout", "watchdog", "external", "software", "unknown")

NAME_PATTERN: Final = r"[A-Za-z0-9._-]{1,16}"
"""What firmware and board may be called."""

CHANNELS_PATTERN: Final = r"[A-Z]{1,8}"
"""Letters of the channels; a host ignores a letter that it does not know."""


@dataclass(frozen=True, slots=True)
class Hello:
    """How the board introduces itself: at start-up, on request, and at least once a minute."""

    boot: int
    """Boot count, 0 if the board cannot count its boots."""
    seq: int
    """Number of the next sample."""
    protocol: int
    firmware: str
    board: str
    reset: str
    """Why the board started, one of `RESET_CAUSES`."""
    period_ms: int
    """Time between two samples."""
    adc_bits: int
    channels: str
    """What is fitted: F flow, P pressure, V boom valve, W wheel."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """What the host wants of lamp and buzzer: 0 off, 1 slow, 2 fast, 3 steady."""

    lamp: int
    buzzer: int


@dataclass(frozen=True, slots=True)
class HelloRequest:
    """The host asks the board to say hello."""
