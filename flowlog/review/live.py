"""What is going on at a rig now, read from its store while the daemon writes it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from flowlog.errors import FlowlogError
from flowlog.monitor.codes import CODES, Code
from flowlog.monitor.outputs import Reading
from flowlog.monitor.stops import Mark
from flowlog.monitor.summary import alerts_of
from flowlog.review import words
from flowlog.review.held import HeldReadings
from flowlog.review.live_state import (
    Cleared,
    LiveAlert,
    LiveState,
    Totals,
    freshness,
    news_of,
    onset_age_s,
    open_alerts,
    open_mark,
)
from flowlog.review.live_sums import COLUMNS, live_totals
from flowlog.review.load import in_use_on, rig_of
from flowlog.rig.model import Rig
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreError
from flowlog.store.lock import is_locked
from flowlog.store.rows import EventRow, LatestRow, RouteRow, StopMark

_NOTED_FOR_S: Final = 600.0
_CLEARED_FOR_S: Final = 60.0
_SUMMED_IN_A_SECOND: Final = 6000
"""Readings, on average over the seconds: what grows with the day must not take more of it."""
_SUM_EVERY_S: Final = 1.0


@dataclass(slots=True)
class _Age:
    """How old the newest reading is, by a clock that nobody sets."""

    key: tuple[int, int, int] | None = None
    since_s: float = 0.0
    """Monotonic time at which the reading was new."""

    def of(self, latest: LatestRow | None, wall_us: int, monotonic_s: float) -> float | None:
        if latest is None:
            return None
        key = (latest.route.id, latest.reading.at.segment, latest.reading.at.seq)
        if key != self.key:
            by_wall_s = max(0.0, (wall_us - latest.wall_us) / 1e6)
            if self.key is not None:
                # It came since the last look, whatever the wall clock was set to meanwhile.
                by_wall_s = min(by_wall_s, max(0.0, monotonic_s - self.since_s), 2.0)
            self.key, self.since_s = key, monotonic_s - by_wall_s
        return self.now(monotonic_s)

    def now(self, monotonic_s: float) -> float | None:
        return None if self.key is None else monotonic_s - self.since_s


class LiveReader:
    """Looks at a rig's store again and again, and reads only what is new.

    Args:
        folder: the rig's data folder.
        codes: what is known about the codes of alerts; the daemon has some of its own.
    """

    def __init__(self, folder: Path, codes: Mapping[str, Code] = CODES) -> None:
        self._folder = folder
        self._codes = codes
        self._archive = Archive.open(folder)
        self._age = _Age()
        self._rig: tuple[str, Rig] | None = None
        self._held: HeldReadings | None = None
        self._held_for = (0, 0)
        self._marks: list[StopMark] = []
        self._totals: tuple[Totals | None, Totals | None] = (None, None)
        self._summed_s = -_SUM_EVERY_S
        self._state: LiveState | None = None
        self._number: tuple[str, int] = ("", 0)

    def close(self) -> None:
        self._archive.close()

    def look(self, wall_us: int, monotonic_s: float) -> LiveState:
        """The state now.

        Args:
            wall_us: UTC now.
            monotonic_s: a clock that nobody sets, now.

        Raises:
            StoreError: the store can no longer be read.
        """
        archive = self._archive
        latest = archive.latest()
        age_s = self._age.of(latest, wall_us, monotonic_s)
        fresh = freshness(age_s)
        events: list[EventRow] = []
        marks: list[StopMark] = []
        if latest is None:
            rig = rig_of(archive.rig())
        else:
            rig = self._rig_of(latest.route)
            events = archive.events(latest.route.id)
            sets = sum(row.event.code == "clock_set" for row in events)
            marks = archive.stops(latest.route.id)
            self._sum(latest.route.id, rig, sets, marks, monotonic_s)
        route, stop = self._totals
        reading = None if latest is None or fresh == "NO DATA" else latest.reading
        newest = None if latest is None else latest.reading
        running = self._daemon_runs()
        return LiveState(
            rig=rig,
            freshness=fresh,
            age_s=age_s,
            reading=reading,
            clock=words.local_time(wall_us),
            route=route,
            stop=stop,
            alerts=self._alerts(events, newest, age_s, wall_us, latest),
            noted=self._noted(events, newest, age_s, wall_us),
            advice="" if fresh == "LIVE" else _advice(running),
            daemon=bool(running),
            route_uid="" if latest is None else latest.route.uid,
            route_number=None if latest is None else self._number_of(latest.route),
            mark=open_mark(marks, wall_us),
            cleared=self._cleared(events, newest, age_s, wall_us),
        )

    def look_or_last(
        self, wall_us: int, monotonic_s: float, tell: Callable[[StoreError], str] = str
    ) -> LiveState:
        """As `look`, but a store that cannot be read for the moment is shown as missing data.

        Args:
            tell: makes the advice of the fault.
        """
        try:
            self._state = self.look(wall_us, monotonic_s)
        except StoreError as error:
            if self._state is None:
                raise
            return replace(
                self._state,
                freshness="NO DATA",
                age_s=self._age.now(monotonic_s),
                reading=None,
                clock=words.local_time(wall_us),
                advice=tell(error),
                daemon=bool(self._daemon_runs()),
            )
        return self._state

    def _rig_of(self, route: RouteRow) -> Rig:
        if self._rig is None or self._rig[0] != route.uid:
            self._rig = (route.uid, in_use_on(self._archive, route).rig)
        return self._rig[1]

    def _number_of(self, route: RouteRow) -> int:
        if self._number[0] != route.uid:
            place = [row.uid for row in self._archive.routes()].index(route.uid)
            self._number = (route.uid, place + 1)
        return self._number[1]

    def _sum(
        self, route_id: int, rig: Rig, clock_sets: int, stops: list[StopMark], now_s: float
    ) -> None:
        """Bring the sums up to date, at most once a second, more seldom late in a long day."""
        anew = self._held is None or (route_id, clock_sets) != self._held_for
        if anew or self._held is None:
            # Readings that were read once change only when the clock is set: their wall times.
            self._held, self._held_for = HeldReadings(route_id, COLUMNS), (route_id, clock_sets)
        elif stops == self._marks and now_s - self._summed_s < max(
            _SUM_EVERY_S, len(self._held) / _SUMMED_IN_A_SECOND
        ):
            return
        new = self._held.catch_up(self._archive)
        if not (new or anew or stops != self._marks):
            return
        self._summed_s, self._marks = now_s, stops
        marks = [
            Mark(mark.kind, mark.segment, mark.t_us, mark.name, mark.area_m2) for mark in stops
        ]
        self._totals = live_totals(self._held.columns(), marks, rig)

    def _alerts(
        self,
        events: list[EventRow],
        newest: Reading | None,
        age_s: float | None,
        wall_us: int,
        latest: LatestRow | None,
    ) -> tuple[LiveAlert, ...]:
        alerts = alerts_of([row.event for row in events])
        first = {row.event.alert: row for row in reversed(events)}
        ages = [
            onset_age_s(alert.since, first[alert.alert].since_wall_us, newest, age_s, wall_us)
            if first[alert.alert].source == "monitor"
            else max(0.0, (wall_us - first[alert.alert].since_wall_us) / 1e6)
            for alert in alerts
        ]
        shown = open_alerts(alerts, ages, self._codes)
        if not shown or latest is None:
            return shown
        seen = self._archive.seen(latest.route.uid)
        last = {row.event.alert: row.event for row in events}
        news = news_of(row.event for row in events)
        return tuple(
            replace(
                alert,
                since_wall_us=first[alert.alert].since_wall_us,
                probability=last[alert.alert].details.get("probability"),
                seen=alert.alert in seen,
                news=news[alert.alert],
            )
            for alert in shown
        )

    def _cleared(
        self, events: list[EventRow], newest: Reading | None, age_s: float | None, wall_us: int
    ) -> tuple[Cleared, ...]:
        found = []
        for row in reversed(events):
            ago = onset_age_s(row.event.at, row.wall_us, newest, age_s, wall_us)
            if ago is None or ago > _CLEARED_FOR_S:
                break
            if row.event.change == "cleared":
                code = self._codes.get(row.event.code)
                title = code.title if code else row.event.code.replace("_", " ")
                found.append(Cleared(row.event.alert, title, words.clean(row.event.text), ago))
        return tuple(found)

    def _noted(
        self, events: list[EventRow], newest: Reading | None, age_s: float | None, wall_us: int
    ) -> str:
        """The newest thing that was noted or cleared within the last minutes."""
        for row in reversed(events):
            ago = onset_age_s(row.event.at, row.wall_us, newest, age_s, wall_us)
            if ago is None or ago > _NOTED_FOR_S:
                return ""
            if row.event.change in ("noted", "cleared"):
                return f"{words.clean(row.event.text)} ({words.duration(ago)} ago)"
        return ""

    def _daemon_runs(self) -> bool | None:
        """None: that cannot be found out."""
        try:
            return is_locked(self._folder)
        except (OSError, FlowlogError):
            return None


def _advice(running: bool | None) -> str:
    if running is None:
        return "is the daemon running?"
    if running:
        return "board silent: look at its cable"
    return "no daemon runs: flowlog run RIGFILE"
