"""The life of an alert: it opens, may grow, and clears; it never flaps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from flowlog.monitor.codes import CODES
from flowlog.monitor.outputs import Change, Event, Position


@dataclass(frozen=True, slots=True)
class Size:
    """How large, with its 95 % interval where there is one."""

    value: float
    unit: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class _Open:
    alert: str
    since: Position


class AlertBook:
    """Which alerts are open; writes the events. At most one alert of a code is open."""

    def __init__(self) -> None:
        self._open: dict[str, _Open] = {}
        self._noted: dict[str, int] = {}
        self.events: list[Event] = []

    def is_open(self, code: str) -> bool:
        return code in self._open

    def open(
        self,
        code: str,
        at: Position,
        since: Position,
        text: str,
        size: Size | None = None,
        details: Mapping[str, float] | None = None,
        checks: tuple[str, ...] | None = None,
    ) -> None:
        """Open an alert, or do nothing if one of this code is open already."""
        if code in self._open:
            return
        # The name is made of the place in the stream, so that a replay gives the same one.
        alert = f"{code}.{at.segment}.{at.seq}"
        self._open[code] = _Open(alert, since)
        self._write(code, alert, "opened", at, since, text, size, details, checks)

    def grow(
        self,
        code: str,
        at: Position,
        text: str,
        size: Size | None = None,
        details: Mapping[str, float] | None = None,
        checks: tuple[str, ...] | None = None,
    ) -> None:
        """Say that an open alert has changed in size."""
        held = self._open[code]
        self._write(code, held.alert, "grew", at, held.since, text, size, details, checks)

    def rename(self, code: str, to: str) -> bool:
        """The open alert turned out to be something else: it keeps its life under another code.

        False if one of the other code is open already; then nothing changes.
        """
        if to in self._open:
            return False
        self._open[to] = self._open.pop(code)
        return True

    def clear(self, code: str, at: Position, text: str) -> None:
        """Close an open alert; do nothing if there is none."""
        held = self._open.pop(code, None)
        if held is not None:
            self._write(code, held.alert, "cleared", at, held.since, text, None, None)

    def note(
        self,
        code: str,
        at: Position,
        since: Position,
        text: str,
        size: Size | None = None,
        details: Mapping[str, float] | None = None,
    ) -> None:
        """Something that happened and is over."""
        again = self._noted.get(code, 0)
        self._noted[code] = again + 1
        alert = f"{code}.{at.segment}.{at.seq}.{again}"
        self._write(code, alert, "noted", at, since, text, size, details)

    def take(self) -> list[Event]:
        """The events since the last call."""
        events, self.events = self.events, []
        return events

    def _write(
        self,
        code: str,
        alert: str,
        change: Change,
        at: Position,
        since: Position,
        text: str,
        size: Size | None,
        details: Mapping[str, float] | None,
        checks: tuple[str, ...] | None = None,
    ) -> None:
        if checks is None:
            checks = CODES[code].checks if change in ("opened", "grew") else ()
        self.events.append(
            Event(
                alert=alert,
                code=code,
                change=change,
                at=at,
                since=since,
                text=text,
                checks=checks,
                size=size.value if size else None,
                size_low=size.low if size else None,
                size_high=size.high if size else None,
                size_unit=size.unit if size else "",
                details=dict(details or {}),
            )
        )
