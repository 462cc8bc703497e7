"""Old databases are brought up to date whole, with a copy first; newer ones are left alone."""

from __future__ import annotations

import re
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateTable
from support.storing import RIG, RIG_TEXT, second_batch

from flowlog.store import migrate, version
from flowlog.store.archive import Archive
from flowlog.store.engine import writer
from flowlog.store.errors import StoreCorruptError, StoreError, StoreTooNewError
from flowlog.store.recorder import Recorder
from flowlog.store.schema import REVISION, metadata

FIRST = Path(__file__).with_name("first_tables.sql")
"""A database as the first migration made it, with a little of everything in it."""

NEXT = '''
"""A step that does not exist yet."""
import sqlalchemy as sa
from alembic import op

revision = "9001"
down_revision = "{down}"


def upgrade():
    with op.batch_alter_table("notes") as notes:
        notes.add_column(sa.Column("colour", sa.Text()))
    {more}
'''


def restored(folder: Path) -> Path:
    path = folder / "flowlog.db"
    with sqlite3.connect(path) as db:
        db.executescript(FIRST.read_text())
    db.close()
    return path


def structure(path: Path) -> dict[str, list[str]]:
    """The pieces of each table's definition; the order of its constraints does not matter."""
    with sqlite3.connect(path) as db:
        rows = db.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    db.close()
    return {
        name: sorted(re.split(r"[,()]", re.sub(r"\s+|\"", "", sql).lower())) for name, sql in rows
    }


def future_scripts(folder: Path, more: str = "") -> Path:
    scripts = folder / "scripts 100%"
    shutil.copytree(migrate.SCRIPTS, scripts)
    text = NEXT.format(down=REVISION, more=more)
    (scripts / "versions" / "9001_next.py").write_text(text)
    return scripts


def test_the_migrated_tables_are_those_that_a_new_store_gets(tmp_path: Path) -> None:
    migrated = create_engine(f"sqlite:///{tmp_path / 'migrated.db'}")
    settings = migrate.config()
    with migrated.begin() as connection:
        settings.attributes["connection"] = connection
        migrate.command.upgrade(settings, "head")
    with migrated.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []
    Recorder.open(tmp_path, RIG, RIG_TEXT).close()
    assert structure(tmp_path / "migrated.db") == structure(tmp_path / "flowlog.db")


def test_the_newest_step_is_the_revision_that_the_program_expects() -> None:
    scripts = ScriptDirectory.from_config(migrate.config())
    assert scripts.get_heads() == [REVISION]


def test_a_store_of_the_first_release_opens_with_all_that_is_in_it(tmp_path: Path) -> None:
    restored(tmp_path)
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    route = recorder.open_route()
    assert route is not None
    assert recorder.tally(route.id).next_ordinal == 650
    recorder.commit(second_batch(route.id, 65))
    recorder.close()
    with Archive.open(tmp_path) as archive:
        assert len(archive.raw(route.id)) == 660
        assert len(archive.readings(route.id)["seq"]) == 66
        assert [row.event.code for row in archive.events(route.id)] == ["tip_blocked"] * 2
        assert len(archive.stops(route.id)) == 1
    structure_now = structure(tmp_path / "flowlog.db")
    other = tmp_path / "new"
    Recorder.open(other, RIG, RIG_TEXT).close()
    assert structure_now == structure(other / "flowlog.db")


def test_a_migration_keeps_a_copy_and_the_data(tmp_path: Path) -> None:
    path = restored(tmp_path)
    engine = writer(path, create=False, busy_timeout_s=1)
    copy = migrate.upgrade(engine, path, "0001", future_scripts(tmp_path))
    assert copy.name == "flowlog.db.before-9001"
    assert "colourtext" not in structure(copy)["notes"]
    assert "colourtext" in structure(path)["notes"]
    for file in (path, copy):
        with sqlite3.connect(file) as db:
            assert db.execute("SELECT count(*) FROM readings").fetchone() == (65,)
            assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_migration_that_fails_changes_nothing(tmp_path: Path) -> None:
    path = restored(tmp_path)
    before = structure(path)
    engine = writer(path, create=False, busy_timeout_s=1)
    scripts = future_scripts(tmp_path, more='op.execute("INSERT INTO nowhere VALUES (1)")')
    with pytest.raises(StoreError, match="nowhere"):
        migrate.upgrade(engine, path, "0001", scripts)
    assert structure(path) == before
    with engine.connect() as connection:
        assert version.revision(connection, path) == "0001"


def test_a_newer_store_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = restored(tmp_path)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE alembic_version SET version_num = '9001'")
    db.close()
    before = path.read_bytes()
    with pytest.raises(StoreTooNewError, match="9001"):
        Archive.open(tmp_path)
    with pytest.raises(StoreTooNewError, match="update flowlog"):
        Recorder.open(tmp_path, RIG, RIG_TEXT)
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT version_num FROM alembic_version").fetchall() == [("9001",)]
    assert len(path.read_bytes()) == len(before)


def test_an_older_store_is_not_read_before_it_is_brought_up_to_date(tmp_path: Path) -> None:
    path = restored(tmp_path)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE alembic_version SET version_num = '0000'")
    db.close()
    with pytest.raises(StoreError, match="start the daemon"):
        Archive.open(tmp_path)


def test_somebody_elses_database_is_refused(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "flowlog.db") as db:
        db.execute("CREATE TABLE recipes (name)")
    db.close()
    with pytest.raises(StoreCorruptError, match="not one of flowlog"):
        Recorder.open(tmp_path, RIG, RIG_TEXT)


def test_an_empty_file_left_by_a_power_cut_becomes_a_store(tmp_path: Path) -> None:
    (tmp_path / "flowlog.db").touch()
    Recorder.open(tmp_path, RIG, RIG_TEXT).close()
    with Archive.open(tmp_path) as archive:
        assert archive.rig().name == "Cart 3"


def test_a_normal_start_does_not_load_the_migration_tool(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from support.storing import RIG, RIG_TEXT; "
        "from flowlog.store.recorder import Recorder; "
        "Recorder.open(Path(sys.argv[1]), RIG, RIG_TEXT).close(); "
        "print('alembic' in sys.modules)"
    )
    for _ in ("new", "old"):
        done = subprocess.run(
            [sys.executable, "-c", script, str(tmp_path)],
            env={"PYTHONPATH": ":".join(sys.path)},
            capture_output=True,
            text=True,
            check=True,
        )
        assert done.stdout == "False\n"


def test_the_tables_can_be_made_on_a_database_server_too() -> None:
    for table in metadata.sorted_tables:
        text = str(CreateTable(table).compile(dialect=postgresql.dialect()))
        assert text.strip().startswith(f"CREATE TABLE {table.name}")
