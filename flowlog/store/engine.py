"""Connections: one that writes, and any number that only read.

The writer uses a write-ahead log with `synchronous=FULL`, so that an answered commit survives a
cut of power, and begins every transaction with `BEGIN IMMEDIATE`, so that it waits for a lock
instead of failing in the middle. Readers open the file read-only: they can never checkpoint.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from flowlog.store.errors import StoreError, StoreMissingError
from flowlog.store.faults import naming
from flowlog.store.lock import is_locked

DATABASE: Final = "flowlog.db"

AUTOCHECKPOINT_PAGES: Final = 64
"""256 kB of log before it is folded into the file. Fewer write the same pages to the card more
often; more let the log fill a small disk (the ballast must cover it)."""


def database(folder: Path) -> Path:
    """The database file of a rig's data folder."""
    return folder / DATABASE


def writer(path: Path, *, create: bool, busy_timeout_s: float) -> Engine:
    """The engine of the one process that writes. Connections may change threads, not share them."""
    uri = f"file:{quote(str(path))}?mode={'rwc' if create else 'rw'}"
    engine = _engine(lambda: _connect(uri, busy_timeout_s, _prepare_writer))
    event.listen(engine, "begin", _begin_immediate)
    return engine


@dataclass(frozen=True, slots=True)
class Reader:
    """An engine that only reads."""

    engine: Engine
    live: bool
    """False if it shows the file as it was at opening: right only while nobody writes."""
    copy: tempfile.TemporaryDirectory[str] | None = None
    """Where a copy is read from; it goes when this does."""


def reader(path: Path, busy_timeout_s: float = 5.0) -> Reader:
    """Open for reading, also on a read-only file system.

    Raises:
        StoreMissingError: no such file.
        StoreError: it cannot be opened.
    """
    if not path.exists():
        raise StoreMissingError(f"{path}: there is no database; has this rig been logged here?")
    uri = f"file:{quote(str(path))}?mode=ro"
    engine = _reading(uri, busy_timeout_s)
    # A write-ahead log needs its index file, which cannot be made on a read-only file system.
    if _opens(engine):
        return Reader(engine, live=True)
    if not is_locked(path.parent):
        log = path.with_name(f"{path.name}-wal")
        if log.exists() and log.stat().st_size:
            return _copied(path, log)
        still = f"{uri}&immutable=1"
        engine = _reading(still, busy_timeout_s)
    with naming(path), engine.connect() as connection:
        connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").all()
    return Reader(engine, live=False)


def checkpoint(connection: Connection) -> None:
    """Fold the log into the file and empty it. Outside of a transaction only."""
    driver = connection.connection.driver_connection
    assert isinstance(driver, sqlite3.Connection)
    driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()


def _copied(path: Path, log: Path) -> Reader:
    """Read a copy: the newest seconds are in the log, and `immutable` would not see them."""
    folder = tempfile.TemporaryDirectory(prefix="flowlog-")
    copy = Path(folder.name) / path.name
    try:
        shutil.copyfile(path, copy)
        shutil.copyfile(log, copy.with_name(log.name))
    except OSError as fault:
        folder.cleanup()
        raise StoreError(f"{path}: cannot be copied for reading ({fault.strerror})") from fault
    engine = _engine(lambda: _connect(f"file:{quote(str(copy))}?mode=ro", 5.0, _prepare_reader))
    return Reader(engine, live=False, copy=folder)


def _opens(engine: Engine) -> bool:
    """Whether reading works; only "cannot open" counts as no, other faults are for the caller."""
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").all()
    except DBAPIError as fault:
        name = str(getattr(fault.orig, "sqlite_errorname", ""))
        return not name.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY", "SQLITE_IOERR"))
    return True


def _engine(connect: Callable[[], sqlite3.Connection]) -> Engine:
    return create_engine("sqlite://", creator=connect, poolclass=NullPool)


@lru_cache(maxsize=4)
def _reading(uri: str, busy_timeout_s: float) -> Engine:
    """One engine for all who read a file: it holds no connection, but the compiled queries."""
    return _engine(lambda: _connect(uri, busy_timeout_s, _prepare_reader))


def _connect(
    uri: str, busy_timeout_s: float, prepare: Callable[[sqlite3.Connection], None] | None
) -> sqlite3.Connection:
    # isolation_level None: transactions begin where we say, not where the driver guesses.
    connection = sqlite3.connect(
        uri, uri=True, isolation_level=None, check_same_thread=False, timeout=busy_timeout_s
    )
    try:
        if prepare is not None:
            prepare(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _prepare_reader(connection: sqlite3.Connection) -> None:
    # Who reads, reads through once: pages kept for a second time would only take memory.
    connection.execute("PRAGMA cache_size = -512").fetchall()


def _prepare_writer(connection: sqlite3.Connection) -> None:
    for pragma in (
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        f"wal_autocheckpoint = {AUTOCHECKPOINT_PAGES}",
        # The log keeps its space on the disk once it has it, and shrinks to it after a burst.
        f"journal_size_limit = {2 * AUTOCHECKPOINT_PAGES * 4096}",
        "cache_size = -4000",
        # Some builds overwrite what is deleted, page by page through the log: the card wears, and
        # on a full disk a deletion then needs the space that it is to free.
        "secure_delete = OFF",
    ):
        connection.execute(f"PRAGMA {pragma}").fetchall()


def _begin_immediate(connection: Connection) -> Any:
    connection.exec_driver_sql("BEGIN IMMEDIATE")
