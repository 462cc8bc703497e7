"""Bringing an old database up to date. Imported only when there is something to do."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Final

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

from flowlog.store.errors import StoreFullError
from flowlog.store.faults import naming

SCRIPTS: Final = Path(__file__).with_name("migrations")


def upgrade(engine: Engine, path: Path, found: str, scripts: Path = SCRIPTS) -> Path:
    """Migrate to the newest revision in one transaction, after a copy beside the database.

    Args:
        engine: the writer's engine on the database at `path`.
        found: the revision that the database has now.

    Returns:
        The copy, `flowlog.db.before-<revision>`; it may be deleted once all is well.

    Raises:
        StoreError: nothing was changed.
    """
    settings = config(scripts)
    head = ScriptDirectory.from_config(settings).get_current_head()
    copy = back_up(path, path.with_name(f"{path.name}.before-{head}"))
    with naming(path), engine.begin() as connection:
        settings.attributes["connection"] = connection
        command.upgrade(settings, "head")
    return copy


def back_up(path: Path, copy: Path) -> Path:
    """Copy a database, with what is still in its log, and see it onto the disk.

    Raises:
        StoreFullError: no space for the copy.
    """
    part = copy.with_name(f"{copy.name}.part")
    part.unlink(missing_ok=True)
    try:
        with naming(path):
            source = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True)
            try:
                source.execute("VACUUM INTO ?", (str(part),))
            finally:
                source.close()
    except StoreFullError as fault:
        part.unlink(missing_ok=True)
        raise StoreFullError(
            f"{path}: no space for a copy before the update; free {path.stat().st_size} bytes"
        ) from fault
    _sync(part)
    part.replace(copy)
    _sync(copy.parent)
    return copy


def config(scripts: Path = SCRIPTS) -> Config:
    """The migration tool's settings, without a file of its own."""
    settings = Config()
    # Percent signs in a folder's name would be taken for references.
    settings.set_main_option("script_location", str(scripts).replace("%", "%%"))
    settings.set_main_option("path_separator", "os")
    return settings


def _sync(path: Path) -> None:
    fd = os.open(path, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
