"""Board time to wall time, from the moments at which samples arrived.

The board's clock orders everything and measures every duration. Wall time is only an attribute:
`arrival - board clock` is taken for each block, the smallest of the last ten seconds wins (a
line can be late, never early), and the host's `wall - monotonic` turns it into a date. When
that last number jumps, somebody set the host's clock.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

from flowlog.daemon.clock import Stamp
from flowlog.monitor.outputs import Position
from flowlog.wire.samples import COUNTER_MODULUS

WINDOW_US: Final = 10_000_000
"""A board with a 0.5 % resonator drifts 50 ms in it: less than lines are late by."""
STEP_US: Final = 500_000
"""A change of `wall - monotonic` from here on is a step: reading the clocks may be interrupted,
but not for so long."""
_OTHER_CLOCK_US: Final = 5_000_000
"""A jump of `arrival - board clock` from here on is a board that started again."""
_OLDEST_US: Final = 60_000_000
_EARLY_US: Final = 1_000_000


def _signed(difference: int) -> int:
    """A difference modulo 2**32, as the nearest signed number."""
    return (difference + COUNTER_MODULUS // 2) % COUNTER_MODULUS - COUNTER_MODULUS // 2


@dataclass(slots=True)
class _Anchor:
    """What a segment's board clock must be moved by to give monotonic time."""

    offset_us: int
    set_us: int


class Timekeeper:
    """Maps positions of one route to the host's clocks; see the module for how.

    `bound_us` is the spread of lateness in the window: how far the mapping may be off, beyond
    the shortest delay of the link itself (a few milliseconds).
    """

    def __init__(self, stamp: Stamp) -> None:
        self._now = stamp
        self._offset_us = stamp.offset_us
        self._boot = -1
        self._last: int | None = None
        self._latest: deque[tuple[int, int]] = deque()
        self._spread: deque[tuple[int, int]] = deque()
        self._anchors: dict[int, _Anchor] = {}

    def new_route(self) -> None:
        """Segments count from 0 again; the board's clock runs on."""
        self._anchors.clear()

    def host(self, stamp: Stamp) -> int:
        """Take note of the host's clocks. Returns the wall clock's step in us, 0 if there is none.

        Small changes are not followed one by one but compared with the time of the last step,
        so that a clock set in many small pieces is seen as well. A stamp older than one seen
        before (of bytes that waited in a queue) says nothing new.
        """
        if stamp.monotonic_us < self._now.monotonic_us:
            return 0
        self._now = stamp
        step = stamp.offset_us - self._offset_us
        if abs(step) < STEP_US:
            return 0
        self._offset_us = stamp.offset_us
        return step

    def arrived(self, boot: int, clock_us: int, stamp: Stamp) -> None:
        """The last sample of a block that just arrived: its boot count and raw clock."""
        late = stamp.monotonic_us - clock_us
        if self._last is not None:
            change = _signed(late - self._last)
            late = self._last + change
            if boot != self._boot or abs(change) > _OTHER_CLOCK_US:
                self._latest.clear()
                self._spread.clear()
        self._boot, self._last = boot, late
        _push(self._latest, stamp.monotonic_us, late, 1)
        _push(self._spread, stamp.monotonic_us, late, -1)

    @property
    def bound_us(self) -> int:
        if not self._latest:
            return 0
        return self._spread[0][1] - self._latest[0][1]

    def settle(self, at: Position) -> None:
        """Fix the newest position of a segment; call for each output, in order."""
        now = self._now.monotonic_us
        anchor = self._anchors.get(at.segment)
        guess = self._through_filter(at.t_us)
        if anchor is None:
            offset = now - at.t_us if guess is None else guess - at.t_us
            self._anchors[at.segment] = _Anchor(offset, now)
            return
        if guess is None:
            return
        # The end of a segment is said after the next one has begun: its clock is no longer the
        # board's, and the filter would place it in the future or far in the past.
        drift = _OTHER_CLOCK_US + (now - anchor.set_us) // 100
        if abs(guess - at.t_us - anchor.offset_us) <= drift:
            self._anchors[at.segment] = _Anchor(guess - at.t_us, now)

    def _through_filter(self, t_us: int) -> int | None:
        if not self._latest:
            return None
        now = self._now.monotonic_us
        guess = now + _signed(t_us + self._latest[0][1] - now)
        return guess if now - _OLDEST_US <= guess <= now + _EARLY_US else None

    def monotonic_us(self, at: Position) -> int:
        """The host's monotonic time at a position of this route."""
        anchor = self._anchors.get(at.segment)
        return self._now.monotonic_us if anchor is None else at.t_us + anchor.offset_us

    def wall_us(self, at: Position) -> int:
        """UTC microseconds at a position of this route, as the host's clock stands now."""
        return self.monotonic_us(at) + self._offset_us


def _push(queue: deque[tuple[int, int]], when: int, value: int, sign: int) -> None:
    """Sliding extreme: the front stays the smallest (sign 1) or largest (-1) of the window."""
    while queue and (queue[-1][1] - value) * sign >= 0:
        queue.pop()
    queue.append((when, value))
    while queue[0][0] < when - WINDOW_US:
        queue.popleft()
