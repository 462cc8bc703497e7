"""How long to wait before the next try to connect. Pure: no clock, no chance."""

from __future__ import annotations

from typing import Final

SHORT_LIFE_S: Final = 30.0
FLAPPING: Final = 5
"""So many connections in a row that broke within `SHORT_LIFE_S`. The usual cause is a second
daemon with the same rig name: some brokers close the older connection without giving a reason."""


class Pace:
    """Pauses that double up to a longest one, and slow ones when trying soon is of no use."""

    def __init__(self, first_s: float, longest_s: float, slow_s: float) -> None:
        self._first_s = first_s
        self._longest_s = longest_s
        self._slow_s = slow_s
        self._next_s = first_s
        self._short_lives = 0

    @property
    def flapping(self) -> bool:
        """Whether connections come about and break at once, again and again."""
        return self._short_lives >= FLAPPING

    def pause_s(self, lived_s: float | None, refused: bool) -> float:
        """The pause after a failure.

        `lived_s` is how long the connection was up, None if it never was; `refused` says that
        somebody has to change something first.
        """
        if lived_s is not None:
            self._short_lives = self._short_lives + 1 if lived_s < SHORT_LIFE_S else 0
            if not self.flapping and lived_s >= self._longest_s:
                self._next_s = self._first_s
        if refused or self.flapping:
            return self._slow_s
        pause_s = self._next_s
        self._next_s = min(2 * pause_s, self._longest_s)
        return pause_s
