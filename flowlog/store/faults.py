"""From the database's error names to ours, with a sentence that says what to do."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sqlalchemy.exc import DBAPIError

from flowlog.store.errors import (
    StoreCorruptError,
    StoreError,
    StoreFullError,
    StoreLockedError,
    StoreMissingError,
    StoreReadOnlyError,
)

_HARDLY_ANY: Final = 128 * 1024
"""Below so many free bytes an I/O error is taken for a full disk (the shared-memory file and a
quota report no space in other ways)."""


def named(fault: sqlite3.Error | DBAPIError, path: Path) -> StoreError:
    """The store's error for a database error on the file at `path`."""
    cause = fault.orig if isinstance(fault, DBAPIError) else fault
    name = getattr(cause, "sqlite_errorname", "") or ""
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL")):
        return StoreLockedError(f"{path}: another program holds the database; trying again later")
    if name == "SQLITE_FULL" or (name.startswith("SQLITE_IOERR") and _free(path) < _HARDLY_ANY):
        return StoreFullError(f"{path}: no space left on the disk; remove files or prune old data")
    if name.startswith("SQLITE_READONLY"):
        return StoreReadOnlyError(f"{path}: the database cannot be written ({cause})")
    if name.startswith("SQLITE_CANTOPEN"):
        if not path.exists():
            return StoreMissingError(f"{path}: there is no database")
        return StoreReadOnlyError(f"{path}: cannot be opened; check the folder's permissions")
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return StoreCorruptError(
            f"{path}: the database is damaged ({cause}); move it away to start a new one, and "
            "keep it with its -wal file: most of it can usually be recovered"
        )
    return StoreError(f"{path}: {cause or fault}{f' ({name})' if name else ''}")


@contextmanager
def naming(path: Path) -> Iterator[None]:
    """Turn database errors inside into `StoreError`s about `path`."""
    try:
        yield
    except (sqlite3.Error, DBAPIError) as fault:
        # Mistakes of ours (a constraint, a wrong type) are bugs and keep their traceback.
        cause = fault.orig if isinstance(fault, DBAPIError) else fault
        if isinstance(cause, sqlite3.OperationalError | sqlite3.DatabaseError) and not isinstance(
            cause, sqlite3.IntegrityError | sqlite3.ProgrammingError | sqlite3.DataError
        ):
            raise named(fault, path) from fault
        raise


def _free(path: Path) -> int:
    try:
        return shutil.disk_usage(path.parent).free
    except OSError:
        return 1 << 62
