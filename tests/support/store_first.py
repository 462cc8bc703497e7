"""Writes the dump of a store as the first migration makes it: tests/store/first_tables.sql.

Run once, for the first release; kept to say what the file holds.
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
from pathlib import Path

from alembic import command
from sqlalchemy import create_engine
from support.storing import RIG, RIG_TEXT, second_batch

from flowlog.store import migrate
from flowlog.store.recorder import Recorder


def main(target: str) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        engine = create_engine(f"sqlite:///{folder / 'flowlog.db'}")
        settings = migrate.config()
        with engine.begin() as connection:
            settings.attributes["connection"] = connection
            command.upgrade(settings, "0001")
        engine.dispose()
        recorder = Recorder.open(folder, RIG, RIG_TEXT, wall_us=1)
        run = recorder.begin_run("boot-1", 5, 6)
        route = recorder.begin_route(10_000_000, uid="r1")
        for second in range(65):
            recorder.commit(second_batch(route.id, second, run))
        recorder.close()
        db = sqlite3.connect(folder / "flowlog.db")
        Path(target).write_text("\n".join(db.iterdump()) + "\n")
        db.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
