"""Open alerts to the lamp and buzzer on the machine."""

from __future__ import annotations

from typing import Final

from flowlog.daemon.codes import urgency_of
from flowlog.monitor.outputs import Event

OFF: Final = 0
SLOW: Final = 1
FAST: Final = 2

Pattern = tuple[int, int]
"""Lamp and buzzer, each 0 off, 1 slow, 2 fast, 3 steady, as the wire has them."""

SOUND_US: Final = 10_000_000
"""The buzzer draws attention and then leaves the lamp: one that never stops gets unplugged."""
REPEAT_US: Final = 30_000_000
"""Said again so often, since a line to the board can be lost and nothing confirms it."""


class Alarm:
    """Follows the events of both sources and says what to send to the board, and when.

    All times are monotonic microseconds.
    """

    def __init__(self) -> None:
        self._open: dict[str, str] = {}
        """Urgency of each open alert."""
        self._codes: dict[str, str] = {}
        """What each was called last."""
        self._seen: set[str] = set()
        self._sound_until_us = 0
        self._sound = OFF
        self._sent: Pattern | None = None
        self._sent_us = 0

    def take(self, event: Event, now_us: int, *, replayed: bool = False) -> None:
        """Take an event. A replayed one lights the lamp but was heard when it happened.

        An alert is heard when it opens, grows or turns out to be something else; not when the same
        thing was only measured better.
        """
        if event.change == "cleared":
            self._open.pop(event.alert, None)
            self._codes.pop(event.alert, None)
            return
        urgency = urgency_of(event.code)
        if event.change == "noted":
            return
        if urgency == "note":
            # It may have been called something worse until now.
            self._open.pop(event.alert, None)
            return
        self._open[event.alert] = urgency
        named = self._codes.get(event.alert)
        self._codes[event.alert] = event.code
        only_surer = "surer" in event.details and event.code == named
        if not replayed and not only_surer:
            sound = FAST if urgency == "stop" else SLOW
            if now_us >= self._sound_until_us or sound > self._sound:
                self._sound = sound
            self._sound_until_us = now_us + SOUND_US

    def seen(self, alert: str) -> None:
        """Somebody knows of an alert: no more sound for it. The lamp stays while it is open.

        An alert that grows afterwards is heard again: what was seen was something smaller.
        """
        self._seen.add(alert)
        if self._open.keys() <= self._seen:
            self._sound_until_us = 0

    def new_route(self) -> None:
        """Alerts of the pipeline belong to a route and end with it."""
        self._open.clear()
        self._codes.clear()
        self._seen.clear()

    def wanted(self, now_us: int) -> Pattern:
        """The pattern that the board should show now."""
        if not self._open:
            return (OFF, OFF)
        lamp = FAST if "stop" in self._open.values() else SLOW
        return (lamp, self._sound if now_us < self._sound_until_us else OFF)

    def forget(self) -> None:
        """The board was connected or started again, and shows nothing."""
        self._sent = None

    def due(self, now_us: int) -> Pattern | None:
        """What to send now, or None when the board shows it already."""
        wanted = self.wanted(now_us)
        known = self._sent if self._sent is not None else (OFF, OFF)
        stale = wanted != (OFF, OFF) and now_us - self._sent_us >= REPEAT_US
        return wanted if wanted != known or stale else None

    def sent(self, pattern: Pattern, now_us: int) -> None:
        """It went out to the board."""
        self._sent, self._sent_us = pattern, now_us
