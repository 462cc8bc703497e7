"""The daemon's own alerts: opened after a while, cleared when it is over, never flapping."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from flowlog.daemon.codes import CODES
from flowlog.monitor.outputs import Event, Position

PATIENCE_S: Final[dict[str, float]] = {
    "port_lost": 3.0,
    "data_silent": 5.0,
    "data_unreadable": 10.0,
    "store_failing": 5.0,
    "disk_low": 0.0,
    "broker_away": 60.0,
}
"""How long a condition must hold before it is said: a replug takes a second or two, and a broker
that is away for a moment is how networks are."""
CALM_S: Final = 2.0
"""How long it must be gone before the alert clears."""


@dataclass(slots=True)
class _Condition:
    alert: str | None = None
    """The open alert's name."""
    began_us: int | None = None
    began_at: Position | None = None
    ended_us: int | None = None


class OwnAlerts:
    """Turns conditions into events. Times are monotonic microseconds.

    Names of alerts are numbered through the route, so that they stay unique over restarts.
    """

    def __init__(self, stored: Iterable[Event] = ()) -> None:
        """`stored`: the daemon's events of this route so far; alerts open there are still open."""
        self._conditions: dict[str, _Condition] = {}
        self._number = 0
        for event in stored:
            self._number += event.change in ("opened", "noted")
            condition = self._conditions.setdefault(event.code, _Condition())
            if event.change == "opened":
                condition.alert, condition.began_at = event.alert, event.since
            elif event.change == "cleared":
                condition.alert = None

    def is_open(self, code: str) -> bool:
        condition = self._conditions.get(code)
        return condition is not None and condition.alert is not None

    def see(
        self, code: str, holds: bool, text: str, cleared: str, at: Position, now_us: int
    ) -> Event | None:
        """Report whether a condition holds; `text` opens the alert and `cleared` closes it."""
        condition = self._conditions.setdefault(code, _Condition())
        if holds:
            condition.ended_us = None
            if condition.began_us is None:
                condition.began_us = now_us
                condition.began_at = condition.began_at if condition.alert else at
            waited = (now_us - condition.began_us) / 1e6
            if condition.alert is None and waited >= PATIENCE_S.get(code, 0.0):
                condition.alert = self._name(code)
                since = condition.began_at or at
                return Event(condition.alert, code, "opened", at, since, text, CODES[code].checks)
            return None
        if condition.alert is None:
            condition.began_us = None
            return None
        if condition.ended_us is None:
            condition.ended_us = now_us
        if (now_us - condition.ended_us) / 1e6 < CALM_S:
            return None
        event = Event(condition.alert, code, "cleared", at, condition.began_at or at, cleared)
        self._conditions[code] = _Condition()
        return event

    def note(
        self, code: str, text: str, at: Position, size: float | None = None, unit: str = ""
    ) -> Event:
        """Something that happened and is over."""
        return Event(self._name(code), code, "noted", at, at, text, (), size=size, size_unit=unit)

    def _name(self, code: str) -> str:
        self._number += 1
        return f"{code}.{self._number}"
