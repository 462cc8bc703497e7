"""A watchdog that is fed by progress, not by being alive.

Each loop ticks when it has come round: the reader when a read returned (a timeout counts), the
pipeline when it has taken what there was, the writer when it has waited or tried to commit. A
process whose writer hangs on a dead card is alive and records nothing; it must be restarted.
"""

from __future__ import annotations

from collections.abc import Iterable


class Watchdog:
    """Knows when each loop last came round. All times are monotonic microseconds.

    A tick is one assignment, so loops in other threads need no lock.
    """

    def __init__(self, loops: Iterable[str], period_s: float | None, now_us: int) -> None:
        self._ticks = dict.fromkeys(loops, now_us)
        period_s = period_s or 60.0
        self._every_us = int(period_s * 1e6 / 4)
        self._patience_us = int(period_s * 1e6 / 2)
        self._pinged_us = now_us - self._every_us

    def tick(self, loop: str, now_us: int) -> None:
        self._ticks[loop] = now_us

    def stuck(self, now_us: int) -> list[str]:
        """Loops that have not come round for half the manager's period."""
        return [loop for loop, at in self._ticks.items() if now_us - at > self._patience_us]

    def ping_due(self, now_us: int) -> bool:
        """True four times a period as long as no loop is stuck; the caller then pings."""
        if now_us - self._pinged_us < self._every_us or self.stuck(now_us):
            return False
        self._pinged_us = now_us
        return True
