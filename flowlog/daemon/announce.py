"""What the daemon tells the broker, as messages for the outbox."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from flowlog.daemon.clock import Quality
from flowlog.daemon.pending import Route
from flowlog.publish import messages
from flowlog.publish.topics import Topics
from flowlog.rig.model import Broker, Rig
from flowlog.store.rows import EventRow, OutboxMessage


class Announcer:
    """Makes the messages of one rig. Times are null while the host's clock was never set."""

    def __init__(self, broker: Broker, rig: Rig) -> None:
        self._rig = rig
        self._topics = Topics.of(broker, rig.slug)

    def event(self, row: EventRow, route: Route, quality: Quality) -> OutboxMessage:
        payload = messages.alert(
            row.event,
            uid=row.uid,
            rig=self._rig.slug,
            route=route.uid,
            wall_us=_told(row.wall_us, quality),
            since_wall_us=_told(row.since_wall_us, quality),
            clock=quality,
            source=row.source,
        )
        return OutboxMessage(
            self._topics.alert, messages.encode(payload), qos=1, retain=False, key=row.uid
        )

    def route_began(self, route: Route, quality: Quality) -> OutboxMessage:
        uid = f"{route.uid}:began"
        payload = messages.route(
            "began",
            uid=uid,
            rig=self._rig.slug,
            route=route.uid,
            name=route.name,
            began_wall_us=_told(route.began_wall_us, quality),
            ended_wall_us=None,
            clock=quality,
        )
        return OutboxMessage(
            self._topics.route, messages.encode(payload), qos=1, retain=False, key=uid
        )

    def route_ended(
        self, route: Route, ended_wall_us: int, quality: Quality, folder: Path
    ) -> OutboxMessage:
        """Reads the whole route from the store: call when all of it is there."""
        uid = f"{route.uid}:ended"
        began_wall_us, totals = self._stored(route, folder)
        payload = messages.route(
            "ended",
            uid=uid,
            rig=self._rig.slug,
            route=route.uid,
            name=route.name,
            began_wall_us=_told(began_wall_us, quality),
            ended_wall_us=_told(ended_wall_us, quality),
            clock=quality,
            totals=totals,
        )
        return OutboxMessage(
            self._topics.route, messages.encode(payload), qos=1, retain=False, key=uid
        )

    def _stored(self, route: Route, folder: Path) -> tuple[int, messages.RouteTotals | None]:
        """When the route began, by the clock as corrected since, and what it came to."""
        from flowlog.calibrating.inuse import choose
        from flowlog.monitor.stops import Mark
        from flowlog.monitor.summary import summarise
        from flowlog.store.archive import Archive

        if route.id is None:
            return route.began_wall_us, None
        with Archive.open(folder) as archive:
            began_wall_us = archive.route(route.id).began_wall_us
            rig = choose(self._rig, archive.route_calibrations(route.id)).rig
            columns = archive.readings(route.id)
            events = [row.event for row in archive.events(route.id)]
            marks = [Mark(s.kind, s.segment, s.t_us, s.name) for s in archive.stops(route.id)]
        if not len(columns["seconds"]):
            return began_wall_us, None
        summary = summarise(columns, events, marks, rig)
        figures = summary.figures
        return began_wall_us, messages.RouteTotals(
            spraying_s=figures.spraying_s,
            volume_m3=figures.volume_m3,
            area_m2=figures.area_m2,
            stops=len(summary.stops),
            alerts=sum(not alert.noted for alert in summary.alerts),
            samples=figures.samples,
            lost=figures.lost,
        )


def _told(wall_us: int | None, quality: Quality) -> int | None:
    return None if quality == "none" else wall_us


def faults_of(parts: Iterable[tuple[str, str]]) -> list[str]:
    """Sentences for the status message from (state, detail) of each part that is not well."""
    return [detail for state, detail in parts if state in ("stale", "absent")]
