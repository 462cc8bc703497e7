"""A condition that must hold for a while before it counts, in both directions."""

from __future__ import annotations

from typing import Literal

from flowlog.monitor.outputs import Position

Turn = Literal["opened", "cleared"]


class Latch:
    """Opens after `bad` has held for `open_s`, clears after `good` has held for `clear_s`.

    Between bad and good (a value near its limit) nothing changes: that band, and the two times,
    are what keeps an alert from flapping.
    """

    def __init__(self, open_s: float, clear_s: float) -> None:
        self._open_s = open_s
        self._clear_s = clear_s
        self._held_s = 0.0
        self.active = False
        self.busy = False
        """Active or on its way there: only then does a step with nothing bad change anything."""
        self.since: Position | None = None
        """Where the present or last bad stretch began."""

    def open(self, since: Position) -> bool:
        """Open at once, on evidence from elsewhere; return whether it was shut."""
        was_shut = not self.active
        if was_shut:
            self.active = self.busy = True
            self._held_s, self.since = 0.0, since
        return was_shut

    def step(self, at: Position, seconds: float, *, bad: bool, good: bool) -> Turn | None:
        if not self.active:
            self.busy = bad
            if not bad:
                self._held_s = 0.0
                return None
            if self._held_s == 0.0:
                self.since = at
            self._held_s += seconds
            if self._held_s < self._open_s - 1e-9:
                return None
            self.active, self._held_s = True, 0.0
            return "opened"
        if not good:
            self._held_s = 0.0
            return None
        self._held_s += seconds
        if self._held_s < self._clear_s - 1e-9:
            return None
        self.active, self._held_s = False, 0.0
        return "cleared"
