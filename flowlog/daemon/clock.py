"""The host's two clocks, read together, and whether the wall clock can be believed."""

from __future__ import annotations

import ctypes
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, Protocol

Quality = Literal["synced", "unconfirmed", "none"]
"""`synced`: a time service says so. `unconfirmed`: possible, but nobody has said so since the
host's start. `none`: impossible, the clock was never set. The words of the MQTT messages."""

EARLIEST_PLAUSIBLE_US: Final = 1_735_689_600_000_000
"""2025-01-01 UTC: a host that says an earlier time has no battery-backed clock and was not set."""

_TIME_ERROR: Final = 5
_TRIES: Final = 5
_TOGETHER_NS: Final = 1_000_000
_SYNCHRONISED = Path("/run/systemd/timesync/synchronized")
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


@dataclass(frozen=True, slots=True)
class Stamp:
    """One moment on both clocks of the host, in microseconds."""

    wall_us: int
    """UTC since 1970, as the host believes now."""
    monotonic_us: int
    """Since the host's start, standby included; never set, never steps."""

    @property
    def offset_us(self) -> int:
        return self.wall_us - self.monotonic_us


class Clock(Protocol):
    """What the daemon asks about time; tests put a clock of their own in its place."""

    def now(self) -> Stamp: ...

    def host_boot(self) -> str:
        """Names this power-up of the host: monotonic times compare only within it."""
        ...

    def synchronised(self) -> bool | None:
        """What the system says about its wall clock; None when nobody can tell."""
        ...


class SystemClock:
    """The real clocks. Standby counts: both clocks run through it, so it is not seen as a step."""

    def __init__(self) -> None:
        self._source = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)

    def now(self) -> Stamp:
        for _ in range(_TRIES):
            before = time.clock_gettime_ns(self._source)
            wall = time.time_ns()
            after = time.clock_gettime_ns(self._source)
            if after - before < _TOGETHER_NS:
                break
        # Interrupted between the two each time: half of that is the error, and no step.
        return Stamp(wall // 1000, (before + after) // 2000)

    def host_boot(self) -> str:
        try:
            return _BOOT_ID.read_text().strip()
        except OSError:
            return f"unknown-{time.time_ns()}"

    def synchronised(self) -> bool | None:
        if _SYNCHRONISED.exists():
            return True
        try:
            # The kernel's own verdict, whichever time service runs (adjtimex(2), read only).
            verdict = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(512))
        except (OSError, AttributeError):
            return None
        return None if verdict < 0 else verdict != _TIME_ERROR


def quality(wall_us: int, synchronised: bool | None) -> Quality:
    """One word for how far the wall time can be believed."""
    if wall_us < EARLIEST_PLAUSIBLE_US:
        return "none"
    return "synced" if synchronised else "unconfirmed"
