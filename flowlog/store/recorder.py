"""The one writer of a rig's store.

All methods may raise a `StoreError`; what the call was to do is then not done, what earlier calls
did stays done, and the same call may be made again once the cause is gone. Not thread-safe: use
it from one thread at a time.
"""

from __future__ import annotations

import sqlite3
import time
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, case, delete, func, insert, select, update
from sqlalchemy.dialects.sqlite import insert as upsert
from sqlalchemy.exc import SQLAlchemyError

from flowlog.rig.model import Rig
from flowlog.store import calibrations, raw, shift, version
from flowlog.store.ballast import Ballast
from flowlog.store.commit import write
from flowlog.store.convert import outbox_of, route_of
from flowlog.store.engine import checkpoint, database, writer
from flowlog.store.errors import (
    StoreFullError,
    StoreLockedError,
    StoreMissingError,
    StoreReadOnlyError,
)
from flowlog.store.faults import naming
from flowlog.store.lock import FolderLock
from flowlog.store.redact import blank_passwords, fingerprint
from flowlog.store.rows import (
    Batch,
    CalibrationRow,
    OutboxRow,
    RouteRow,
    StoredCalibration,
    Tally,
)
from flowlog.store.schema import (
    outbox,
    outbox_done,
    raw_blocks,
    raw_tail,
    rig_files,
    rigs,
    routes,
    runs,
)

_BUSY_TIMEOUT_S: Final = 5.0
_PRUNE_STEP: Final = 8
"""Blocks deleted in one transaction."""

_ROUTES: Final = select(routes, rig_files.c.sha256, rig_files.c.rig_id).join(rig_files)


class Recorder:
    """Open for writing; see `Recorder.open`."""

    def __init__(self, folder: Path, lock: FolderLock, busy_timeout_s: float) -> None:
        self._path = database(folder)
        self._lock = lock
        self._busy_timeout_s = busy_timeout_s
        self._connection: Connection | None = None
        self._inode = 0
        self._run_id: int | None = None
        self._rig_id = 0
        self._rig_file_id = 0
        self._ballast = Ballast(folder)

    @classmethod
    def open(
        cls,
        folder: Path,
        rig: Rig,
        rig_text: str,
        *,
        wall_us: int | None = None,
        busy_timeout_s: float = _BUSY_TIMEOUT_S,
    ) -> Recorder:
        """Lock the folder (made if need be), make or update the tables, note the rig.

        Args:
            rig_text: the rig file as it stands; it is stored with the passwords blanked.
            wall_us: the time to note with a rig file that was not seen before; default now.

        Raises:
            StoreBusyError: another daemon has the folder.
            StoreTooNewError, StoreCorruptError, StoreReadOnlyError, StoreFullError.
        """
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise StoreReadOnlyError(f"{folder}: cannot be made ({fault.strerror})") from fault
        recorder = cls(folder, FolderLock(folder), busy_timeout_s)
        try:
            now = time.time_ns() // 1000 if wall_us is None else wall_us
            try:
                recorder._begin(rig, rig_text, now)
            except StoreFullError:
                # Opening alone takes some space: once more, without the ballast.
                recorder._ballast.drop()
                recorder._begin(rig, rig_text, now)
        except BaseException:
            recorder.close()
            raise
        return recorder

    # --- runs and routes ----------------------------------------------------------------------

    def begin_run(self, host_boot: str, wall_us: int, monotonic_us: int) -> int:
        """Note that the daemon began; rows from here on belong to this run. Returns its id."""
        key = {"host_boot": host_boot, "began_monotonic_us": monotonic_us}
        row = {**key, "rig_id": self._rig_id, "began_wall_us": wall_us}
        with self._transaction() as connection:
            connection.execute(upsert(runs).values(row).on_conflict_do_nothing())
            found = select(runs.c.id).filter_by(**key)
            self._run_id = int(connection.execute(found).scalar_one())
        return self._run_id

    def end_run(self, run_id: int, wall_us: int) -> None:
        with self._transaction() as connection:
            connection.execute(
                update(runs).where(runs.c.id == run_id).values(ended_wall_us=wall_us)
            )

    def open_route(self) -> RouteRow | None:
        """The rig's newest route that has not ended."""
        query = (
            _ROUTES.where(rig_files.c.rig_id == self._rig_id, routes.c.ended_wall_us.is_(None))
            .order_by(routes.c.id.desc())
            .limit(1)
        )
        with self._transaction() as connection:
            row = connection.execute(query).mappings().first()
        return None if row is None else route_of(dict(row))

    def begin_route(
        self, wall_us: int, uid: str | None = None, calibration_ids: Sequence[int] = ()
    ) -> RouteRow:
        """A new route, watched with these calibrations, or the one that has this uid already."""
        uid = uid or uuid.uuid4().hex[:16]
        row = {
            "uid": uid,
            "rig_file_id": self._rig_file_id,
            "began_wall_us": wall_us,
            "began_run_id": self._run_id,
        }
        with self._transaction() as connection:
            connection.execute(upsert(routes).values(row).on_conflict_do_nothing())
            found = connection.execute(_ROUTES.where(routes.c.uid == uid)).mappings().one()
            calibrations.remember(connection, int(found["id"]), calibration_ids)
        return route_of(dict(found))

    def add_calibration(self, row: CalibrationRow) -> StoredCalibration:
        """Store a calibration of this rig, or find the one that has this uid already."""
        with self._transaction() as connection:
            calibrations.append(connection, self._rig_id, [row])
            return calibrations.find(connection, row.uid)

    def end_route(self, route_id: int, wall_us: int) -> None:
        """End the route and seal its raw samples. A route that has ended stays as it is."""
        with self._transaction() as connection:
            connection.execute(
                update(routes)
                .where(routes.c.id == route_id, routes.c.ended_wall_us.is_(None))
                .values(ended_wall_us=wall_us, ended_run_id=self._run_id)
            )
            raw.seal(connection, route_id)
            raw.merge(connection, route_id, 0)

    def name_route(self, route_id: int, name: str | None) -> None:
        with self._transaction() as connection:
            connection.execute(update(routes).where(routes.c.id == route_id).values(name=name))

    def tally(self, route_id: int) -> Tally:
        """Where the route's stored stream ends: the next ordinal and mark number."""
        with self._transaction() as connection:
            return raw.tally(connection, route_id)

    # --- the second's work --------------------------------------------------------------------

    def commit(self, batch: Batch) -> None:
        """Make the whole batch durable, or nothing of it.

        When this returns, a cut of power no longer loses the batch. What is stored already (the
        same keys, ordinals, uids) is passed over, so a batch may be committed again, also
        together with newer material.
        """
        self._check_file()
        with self._transaction() as connection:
            write(connection, batch, self._run_id, self._rig_id)
        if not self._ballast.aboard:
            self._ballast.take()

    def seal(self) -> None:
        """Turn what is in the tail into blocks, and fold the log into the file."""
        with self._transaction() as connection:
            open_tails = select(raw_tail.c.route_id).distinct()
            for route_id in connection.execute(open_tails).scalars().all():
                raw.seal(connection, route_id)
        with self._guard() as connection:
            checkpoint(connection)

    @property
    def space_low(self) -> bool:
        """Space ran out, and there is not enough again yet.

        What is left is for small commits: events, marks, messages, no samples.
        """
        return not self._ballast.aboard

    def free_bytes(self) -> int:
        """Free space on the disk of the store."""
        return self._ballast.free_bytes()

    # --- outbox -------------------------------------------------------------------------------

    def outbox(self, after_id: int = 0, limit: int = 50) -> list[OutboxRow]:
        """Waiting messages with a larger id, oldest first."""
        query = select(outbox).where(outbox.c.id > after_id).order_by(outbox.c.id).limit(limit)
        with self._transaction() as connection:
            return [outbox_of(dict(row)) for row in connection.execute(query).mappings()]

    def outbox_size(self) -> int:
        with self._transaction() as connection:
            return int(connection.execute(select(func.count()).select_from(outbox)).scalar_one())

    def prune_outbox(self, keep: int) -> int:
        """Drop messages until `keep` are left. Returns how many were dropped.

        Alerts go last; of each sort the oldest go first.
        """
        excess = self.outbox_size() - keep
        if excess <= 0:
            return 0
        is_alert = case((outbox.c.topic.like("%/alert"), 1), else_=0)
        doomed = select(outbox.c.id).order_by(is_alert, outbox.c.id).limit(excess)
        with self._transaction() as connection:
            ids = connection.execute(doomed).scalars().all()
            keys = select(outbox.c.key).where(outbox.c.id.in_(ids))
            connection.execute(insert(outbox_done).from_select(["key"], keys))
            connection.execute(delete(outbox).where(outbox.c.id.in_(ids)))
        return len(ids)

    # --- afterwards ---------------------------------------------------------------------------

    def shift_wall(self, host_boot: str, step_us: int, at_monotonic_us: int) -> bool:
        """The host's clock was set by `step_us`: correct all that this power-up has stored.

        Args:
            host_boot: names the power-up, as given to `begin_run`.
            at_monotonic_us: when the step was seen. It is the key of the correction: a second
                call for the same moment changes nothing and returns False.

        Everything stored so far by the runs of this power-up is shifted; batches that still wait
        in memory are the caller's to correct.
        """
        with self._transaction() as connection:
            return shift.apply(connection, host_boot, step_us, at_monotonic_us)

    def prune_raw(self, route_id: int) -> int:
        """Delete the raw samples of a route that has ended. Returns their number.

        Readings and events stay; such a route can no longer be replayed. Works in small steps,
        from the beginning, so that little space is needed; after an error the steps that were done
        stay done. Of an open route nothing is deleted.
        """
        ended = select(routes.c.id).where(
            routes.c.id == route_id, routes.c.ended_wall_us.is_not(None)
        )
        doomed = (
            select(raw_blocks.c.id, raw_blocks.c.count)
            .where(raw_blocks.c.route_id.in_(ended))
            .order_by(raw_blocks.c.first_ordinal)
        )
        pruned = 0
        while True:
            with self._transaction() as connection:
                step = connection.execute(doomed.limit(_PRUNE_STEP)).all()
                ids = [block_id for block_id, _ in step]
                connection.execute(delete(raw_blocks).where(raw_blocks.c.id.in_(ids)))
            pruned += sum(int(count) for _, count in step)
            if len(step) < _PRUNE_STEP:
                return pruned

    def close(self) -> None:
        """Let go of database and lock. Never raises; doing it twice does no harm."""
        self._disconnect()
        self._lock.release()

    # --- connection ---------------------------------------------------------------------------

    def _prepare(self, *, create: bool) -> Connection:
        engine = writer(self._path, create=create, busy_timeout_s=self._busy_timeout_s)
        with naming(self._path):
            version.prepare(engine, self._path)
            self._connection = engine.connect()
            self._inode = self._path.stat().st_ino
        return self._connection

    def _begin(self, rig: Rig, rig_text: str, wall_us: int) -> None:
        self._disconnect()
        self._prepare(create=True)
        self._note_rig(rig, rig_text, wall_us)

    def _note_rig(self, rig: Rig, rig_text: str, wall_us: int) -> None:
        kept = blank_passwords(rig_text)
        names: dict[str, Any] = {"name": rig.name, "units": rig.units}
        with self._transaction() as connection:
            connection.execute(
                upsert(rigs)
                .values(slug=rig.slug, **names)
                .on_conflict_do_update(index_elements=["slug"], set_=names)
            )
            find_rig = select(rigs.c.id).where(rigs.c.slug == rig.slug)
            self._rig_id = int(connection.execute(find_rig).scalar_one())
            key = {"rig_id": self._rig_id, "sha256": fingerprint(kept)}
            connection.execute(
                upsert(rig_files)
                .values(**key, text=kept, seen_wall_us=wall_us)
                .on_conflict_do_nothing()
            )
            find_file = select(rig_files.c.id).filter_by(**key)
            self._rig_file_id = int(connection.execute(find_file).scalar_one())

    def _check_file(self) -> None:
        """Notice a file that was deleted or exchanged: writing would go on, into nowhere."""
        if self._connection is None:
            return
        try:
            here = self._path.stat().st_ino
        except OSError:
            here = 0
        if here != self._inode:
            self._disconnect()
            raise StoreMissingError(
                f"{self._path}: the database was moved or deleted while it was in use; put it "
                "back with its -wal file, or restart flowlog to begin a new one"
            )

    @contextmanager
    def _transaction(self) -> Iterator[Connection]:
        with self._guard() as connection, connection.begin():
            yield connection

    @contextmanager
    def _guard(self) -> Iterator[Connection]:
        try:
            with naming(self._path):
                yield self._connection or self._prepare(create=False)
        except StoreFullError:
            # The connection stays: its log has space on the disk that a new one would lack.
            self._ballast.drop()
            raise
        except StoreLockedError:
            raise
        except BaseException:
            # Whatever it was, the next call begins with a connection that knows nothing of it.
            self._disconnect()
            raise

    def _disconnect(self) -> None:
        connection, self._connection = self._connection, None
        if connection is not None:
            with suppress(SQLAlchemyError, sqlite3.Error):
                connection.close()
