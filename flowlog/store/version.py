"""Which revision of the tables a database has, and what to do about it at the writer's start."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine

from flowlog.store.engine import checkpoint
from flowlog.store.errors import StoreCorruptError, StoreError, StoreTooNewError
from flowlog.store.schema import REVISION, metadata, version
from flowlog.store.views import VIEWS


def revision(connection: Connection, path: Path) -> str | None:
    """The revision of the database's tables; None if it holds no tables yet.

    Raises:
        StoreCorruptError: it holds tables, but not ours.
    """
    names = connection.exec_driver_sql("SELECT name FROM sqlite_master LIMIT 500").scalars().all()
    if not names:
        return None
    if version.name not in names:
        raise StoreCorruptError(f"{path}: a database, but not one of flowlog")
    found = connection.exec_driver_sql(f"SELECT version_num FROM {version.name}").scalar()
    if found is None:
        raise StoreCorruptError(f"{path}: the database does not say which version it has")
    return str(found)


def refuse_newer(found: str, path: Path) -> None:
    """
    Raises:
        StoreTooNewError: the tables are of a later revision than this program knows.
    """
    if not found.isdigit() or int(found) > int(REVISION):
        raise StoreTooNewError(
            f"{path}: made by a newer flowlog (tables {found}, this one knows {REVISION}); "
            "update flowlog, or use another data folder"
        )


def check_readable(connection: Connection, path: Path) -> None:
    """
    Raises:
        StoreTooNewError, StoreCorruptError: see above.
        StoreError: the tables are empty or old: the daemon brings them up to date at its start.
    """
    found = revision(connection, path)
    if found is None:
        raise StoreError(f"{path}: nothing has been logged here yet")
    refuse_newer(found, path)
    if found != REVISION:
        raise StoreError(
            f"{path}: tables {found} are older than this flowlog ({REVISION}); start the daemon "
            "once, it brings them up to date"
        )


def prepare(engine: Engine, path: Path) -> None:
    """Make the tables, or bring them up to date. The caller holds the folder's lock."""
    with engine.connect() as connection:
        found = revision(connection, path)
    if found == REVISION:
        return
    if found is None:
        _create(engine)
        return
    refuse_newer(found, path)
    from flowlog.store.migrate import upgrade  # the tool weighs 11 MB, and is needed once a year

    upgrade(engine, path, found)


def _create(engine: Engine) -> None:
    with engine.begin() as connection:
        metadata.create_all(connection)
        for sql in VIEWS.values():
            connection.exec_driver_sql(sql)
        version.create(connection)
        connection.execute(version.insert().values(version_num=REVISION))
    # The tables reach the file itself before the first sample does.
    with engine.connect() as connection:
        checkpoint(connection)
