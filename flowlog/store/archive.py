"""Reading a rig's store, also while the daemon writes it. Never writes, never locks it out.

Every call is one short look: a reader that stays in one place keeps the writer's log growing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, select, text

from flowlog.monitor.outputs import Event
from flowlog.monitor.stream import StreamItem
from flowlog.store import calibrations, corrections, records, stamps, tank, version
from flowlog.store.convert import clock_of, event_of, item_of, reading_of, route_of, stop_of
from flowlog.store.engine import database, reader
from flowlog.store.errors import StoreMissingError
from flowlog.store.faults import naming
from flowlog.store.lock import is_locked
from flowlog.store.raw import raw_gone, tally
from flowlog.store.reading import behind, of_route
from flowlog.store.rows import (
    ClockPoint,
    CorrectionRow,
    EventRow,
    LatestRow,
    ReadingColumns,
    RigRow,
    RouteRow,
    RunRow,
    StopMark,
    StoredCalibration,
    StoredRecord,
    TankRow,
)
from flowlog.store.schema import (
    alerts_seen,
    clock_points,
    events,
    readings,
    rig_files,
    rigs,
    routes,
    runs,
    stops,
    stream_items,
)
from flowlog.store.stream import read_stream
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

_ROUTES: Final = select(routes, rig_files.c.sha256).join(rig_files)
_WHOLE: Final = ("segment", "seq", "t_us", "wall_us", "pulses", "samples", "lost")
_ROWS_AT_ONCE: Final = 500
_READING_COLUMNS: Final = tuple(
    column.name for column in readings.c if column.name not in {"id", "route_id", "run_id"}
)


class Archive:
    """A store open for reading; see `Archive.open`. Usable as a context manager."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._reader = reader(path)
        self._connection: Connection | None = None

    @classmethod
    def open(cls, folder: Path) -> Archive:
        """
        Raises:
            StoreMissingError: nothing was ever logged into this folder.
            StoreTooNewError, StoreCorruptError: this program cannot read it.
        """
        archive = cls(database(folder))
        try:
            with archive._looking() as connection:
                version.check_readable(connection, archive._path)
        except BaseException:
            archive.close()
            raise
        return archive

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None
        if self._reader.copy is not None:
            self._reader.copy.cleanup()

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def folder(self) -> Path:
        """The rig's data folder."""
        return self._path.parent

    # --- rig and routes -----------------------------------------------------------------------

    def rig(self) -> RigRow:
        """The rig that was logged last, with the newest text of its file."""
        found = self._rows(_rig_query().order_by(rig_files.c.id.desc()).limit(1))
        if not found:
            raise StoreMissingError(f"{self._path}: no rig has been logged here yet")
        return RigRow(**found[0])

    def rig_file(self, sha256: str) -> RigRow:
        """The rig as its file said when it had this fingerprint (`RouteRow.rig_sha256`)."""
        found = self._rows(_rig_query().where(rig_files.c.sha256 == sha256))
        if not found:
            raise StoreMissingError(f"{self._path}: no rig file {sha256}")
        return RigRow(**found[0])

    def routes(self) -> list[RouteRow]:
        """All routes, oldest first."""
        return [route_of(row) for row in self._rows(_ROUTES.order_by(routes.c.id))]

    def route(self, route_id: int) -> RouteRow:
        found = self._rows(_ROUTES.where(routes.c.id == route_id))
        if not found:
            raise StoreMissingError(f"{self._path}: there is no route {route_id}")
        return route_of(found[0])

    def runs(self) -> list[RunRow]:
        """The daemon's lives, oldest first."""
        columns = [c for c in runs.c if c.name != "rig_id"]
        return [RunRow(**row) for row in self._rows(select(*columns).order_by(runs.c.id))]

    # --- the stream ---------------------------------------------------------------------------

    def stream(self, route_id: int, first: int = 0) -> Iterator[tuple[int, StreamItem]]:
        """The route's stored stream as far as it goes now: (ordinal, item), in exact order.

        Args:
            first: begin with the sample of this ordinal.

        Samples come in blocks as large as they are stored; the ordinal is that of the first. A
        hello or a tank fill has the ordinal of the sample before which it stands.
        """
        return read_stream(self._looking, route_id, self._path, first)

    def next_ordinal(self, route_id: int) -> int:
        """How many samples the route's stored stream has."""
        with self._looking() as connection:
            return tally(connection, route_id).next_ordinal

    def hello(self, route_id: int, ordinal: int) -> Hello | None:
        """What the board last said of itself before a sample, or else what it said first."""
        query = select(stream_items).where(
            stream_items.c.route_id == route_id, stream_items.c.kind == "hello"
        )
        number = stream_items.c.number
        before = query.where(stream_items.c.ordinal <= ordinal).order_by(number.desc()).limit(1)
        found = self._rows(before) or self._rows(query.order_by(number).limit(1))
        item = item_of(found[0]) if found else None
        return item if isinstance(item, Hello) else None

    def raw_gone(self, route_id: int) -> bool:
        """Whether raw samples that the route's readings came from were deleted."""
        with self._looking() as connection:
            return raw_gone(connection, route_id)

    def raw(self, route_id: int) -> Samples:
        """All raw samples of a route."""
        return Samples.join(
            [item for _, item in self.stream(route_id) if isinstance(item, Samples)]
        )

    # --- what was derived ---------------------------------------------------------------------

    def readings(
        self,
        route_id: int,
        after: tuple[int, int] | None = None,
        limit: int | None = None,
        names: Sequence[str] = _READING_COLUMNS,
    ) -> ReadingColumns:
        """Readings in order, as columns.

        Args:
            after: (segment, seq) of the last reading that the caller has; only later ones.
            limit: at most so many.
            names: only these columns.
        """
        query = select(*(readings.c[name] for name in names))
        query = query.where(of_route(route_id)).order_by(readings.c.id).limit(limit)
        parts: list[list[NDArray[Any]]] = [[np.array([], dtype=_kind(name))] for name in names]
        with self._looking() as connection:
            if after is not None:
                query = query.where(readings.c.id > behind(connection, route_id, *after))
            # As rows of objects a day takes ten times the memory that it takes as columns.
            for rows in connection.execute(query).partitions(_ROWS_AT_ONCE):
                for name, part, column in zip(names, parts, zip(*rows, strict=True), strict=True):
                    part.append(np.array(column, dtype=_kind(name)))
        return {name: np.concatenate(part) for name, part in zip(names, parts, strict=True)}

    def stamps(self) -> dict[int, tuple[Any, ...]]:
        """For each route, by its id: what changes when anything of it changes, and only then."""
        with self._looking() as connection:
            return stamps.read(connection)

    def latest(self) -> LatestRow | None:
        """The newest reading there is."""
        found = self._rows(select(readings).order_by(readings.c.id.desc()).limit(1))
        if not found:
            return None
        row = found[0]
        return LatestRow(self.route(row["route_id"]), reading_of(row), row["wall_us"])

    def tank(self, slug: str) -> TankRow | None:
        """What is left in a rig's tank; None where nothing is known of it."""
        with self._looking() as connection:
            return tank.read(connection, slug)

    def events(self, route_id: int | None = None) -> list[EventRow]:
        """Events in the order in which they were said; of one route, or of all and of none."""
        query = select(events).order_by(events.c.id)
        if route_id is not None:
            query = query.where(events.c.route_id == route_id)
        return [event_of(row) for row in self._rows(query)]

    def open_alerts(self, route_id: int) -> list[Event]:
        """The last event of each alert of the route that has not cleared, oldest alert first."""
        last: dict[str, Event] = {}
        for row in self.events(route_id):
            if row.event.change in {"opened", "grew"}:
                last[row.event.alert] = row.event
            else:
                last.pop(row.event.alert, None)
        return list(last.values())

    def seen(self, route_uid: str) -> set[str]:
        """The alerts of a route that somebody has said to know of (`Event.alert`)."""
        query = select(alerts_seen.c.alert).where(alerts_seen.c.route_uid == route_uid)
        return {row["alert"] for row in self._rows(query)}

    def stops(self, route_id: int) -> list[StopMark]:
        """The operator's marks, in the order in which they were taken."""
        query = select(stops).where(stops.c.route_id == route_id).order_by(stops.c.id)
        return [stop_of(row) for row in self._rows(query)]

    def clock(self, route_id: int) -> list[ClockPoint]:
        """Board time beside wall time, in board order."""
        query = (
            select(clock_points)
            .where(clock_points.c.route_id == route_id)
            .order_by(clock_points.c.segment, clock_points.c.t_us)
        )
        return [clock_of(row) for row in self._rows(query)]

    # --- calibrations -------------------------------------------------------------------------

    def calibrations(
        self, kind: str | None = None, slug: str | None = None
    ) -> list[StoredCalibration]:
        """All calibrations, oldest first: of one kind, and of one rig, if given."""
        with self._looking() as connection:
            return calibrations.read(connection, slug, kind)

    def newest_calibrations(self, slug: str | None = None) -> dict[str, StoredCalibration]:
        """The newest calibration of each kind."""
        return {found.row.kind: found for found in self.calibrations(slug=slug)}

    def route_calibrations(self, route_id: int) -> list[StoredCalibration]:
        """Those that the route was watched with, oldest first."""
        with self._looking() as connection:
            return calibrations.of_route(connection, route_id)

    # --- application records ------------------------------------------------------------------

    def records(self) -> list[StoredRecord]:
        """All revisions of all application records, in the order in which they were taken."""
        with self._looking() as connection:
            return records.read(connection)

    # --- corrections --------------------------------------------------------------------------

    def corrections(self, route_uid: str | None = None) -> list[CorrectionRow]:
        """The corrections of one route, or of all, in the order in which they hold."""
        with self._looking() as connection:
            return corrections.read(connection, route_uid)

    # --- connection ---------------------------------------------------------------------------

    def _rows(self, query: Select[Any]) -> list[dict[str, Any]]:
        with self._looking() as connection:
            return [dict(row) for row in connection.execute(query).mappings()]

    @contextmanager
    def _looking(self) -> Iterator[Connection]:
        """One snapshot, let go of at the end."""
        with naming(self._path):
            if not self._reader.live and is_locked(self._path.parent):
                self.close()  # somebody began to write: what was opened may no longer hold
                self._reader = reader(self._path)
            if self._connection is None:
                self._connection = self._reader.engine.connect()
            self._connection.execute(text("BEGIN"))
            try:
                yield self._connection
            finally:
                self._connection.rollback()


def _rig_query() -> Select[Any]:
    return select(rigs, rig_files.c.sha256, rig_files.c.text, rig_files.c.seen_wall_us).join(
        rig_files
    )


def _kind(name: str) -> type:
    if name == "phase":
        return np.str_
    return np.int64 if name in _WHOLE else np.float64
