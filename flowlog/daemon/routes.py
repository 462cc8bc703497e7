"""When a route ends and the next one begins."""

from __future__ import annotations

from typing import Final

from flowlog.monitor.outputs import Reading

UNUSED_PAUSE_S: Final = 24 * 3600.0
"""A route in which nothing was sprayed ends only after a day: a board that stands with power on
must not fill the list of routes, nor let one stream grow for ever."""


class RouteKeeper:
    """Counts how long nothing was sprayed, in board time and, over outages, in host time.

    Wall time is asked only once, at start-up, since nothing else runs while the host is off.
    When the wall clock is set later, `stepped` corrects that first answer.
    """

    def __init__(self, pause_s: float) -> None:
        self._pause_s = pause_s
        self._used = False
        self._idle_s = 0.0
        self._away_s = 0.0
        self._since_us: int | None = None

    def continues(self, last_data_wall_us: int, now_wall_us: int) -> bool:
        """At start-up: is the open route young enough to go on with?

        A host without a battery-backed clock may believe an earlier time than that of the last
        data. Then the age is unknown, and the route goes on: a key turned off and on in the
        middle of a route is the common case.
        """
        self._away_s = (now_wall_us - last_data_wall_us) / 1e6
        return self._away_s < self._pause_s

    def reading(self, reading: Reading, monotonic_us: int | None) -> None:
        """Take a reading; `monotonic_us` is None for a replayed one."""
        if reading.phase == "spraying":
            self._used = True
            self._idle_s = 0.0
            self._since_us = monotonic_us
            if monotonic_us is not None:
                self._away_s = 0.0
        else:
            self._idle_s += reading.seconds
            if self._since_us is None:
                self._since_us = monotonic_us

    def stepped(self, step_s: float) -> None:
        """The wall clock was set: the host was off for longer or shorter than it seemed."""
        if self._away_s:
            self._away_s += step_s

    def idle_s(self, now_us: int) -> float:
        """Time since something was sprayed, or since the route began."""
        by_host = 0.0 if self._since_us is None else (now_us - self._since_us) / 1e6
        return max(self._idle_s, by_host) + max(self._away_s, 0.0)

    def over(self, now_us: int) -> bool:
        """True when the route has ended."""
        return self.idle_s(now_us) >= (self._pause_s if self._used else UNUSED_PAUSE_S)
