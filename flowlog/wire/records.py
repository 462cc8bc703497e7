"""The records of the line protocol that are not samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

PROTOCOL: Final = 1
"""The version of the line protocol that this package speaks."""

RESET_CAUSES: Final = ("power", "brownout", "watchdog", "external", "software", "unknown")


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
