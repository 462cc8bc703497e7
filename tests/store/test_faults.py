"""Whatever the disk or another program does, the batch can be committed once it is over."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.storing import RIG, RIG_TEXT, board_samples, event_row, message, second_batch

from flowlog.store.archive import Archive
from flowlog.store.ballast import BALLAST_FILE
from flowlog.store.errors import (
    StoreCorruptError,
    StoreFullError,
    StoreLockedError,
    StoreMissingError,
    StoreReadOnlyError,
)
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch
from flowlog.wire.samples import Samples


def integrity(folder: Path) -> str:
    db = sqlite3.connect(folder / "flowlog.db")
    try:
        return str(db.execute("PRAGMA integrity_check").fetchone()[0])
    finally:
        db.close()


def seconds_stored(folder: Path, route_id: int) -> list[int]:
    with Archive.open(folder) as archive:
        return [int(seq) // 10 for seq in archive.readings(route_id)["seq"]]


# --- another program --------------------------------------------------------------------------


def test_a_database_that_another_process_locks_is_said_to_be_locked_and_works_afterwards(
    recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    script = (
        "import sqlite3, sys; db = sqlite3.connect(sys.argv[1], isolation_level=None); "
        "db.execute('BEGIN IMMEDIATE'); print('held', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", script, str(tmp_path / "flowlog.db")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert other.stdout is not None
    assert other.stdout.readline() == b"held\n"
    batch = second_batch(route.id, 0)
    try:
        for _ in range(2):
            with pytest.raises(StoreLockedError, match=r"flowlog\.db: another program"):
                recorder.commit(batch)
        with Archive.open(tmp_path) as archive:  # reading goes on
            assert archive.latest() is None
    finally:
        other.communicate()
    recorder.commit(batch)
    assert seconds_stored(tmp_path, route.id) == [0]


def test_reading_while_writing_sees_whole_commits_only(recorder: Recorder, tmp_path: Path) -> None:
    route = recorder.begin_route(1)
    recorder.commit(second_batch(route.id, 0))
    script = """
import sys
from pathlib import Path
from flowlog.store.archive import Archive
with Archive.open(Path(sys.argv[1])) as archive:
    seen = 0
    print("ready", flush=True)
    while seen < 200:
        before = len(archive.readings(1)["seq"])
        samples = archive.raw(1)
        after = len(archive.readings(1)["seq"])
        assert before * 10 <= len(samples) <= after * 10, (before, len(samples), after)
        assert list(samples.column("seq")) == list(range(len(samples)))
        assert before >= seen
        seen = after
print("done")
"""
    other = subprocess.Popen(
        [sys.executable, "-c", script, str(tmp_path)],
        env={**os.environ, "PYTHONPATH": ":".join(sys.path)},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == "ready\n"
        for second in range(1, 200):
            recorder.commit(second_batch(route.id, second))
        assert other.communicate(timeout=60)[0] == "done\n"
    finally:
        other.kill()
        other.communicate()
    assert other.returncode == 0


# --- a full disk ------------------------------------------------------------------------------


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 6 MB, or a visible skip; CI runs as root and must not skip."""
    folder = tmp_path / "small"
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", str(folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        message = f"mounting a small file system was refused: {done.stderr.strip()}"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that any user can reach and read, unlike `tmp_path`."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


def fill(path: Path, leave: int = 0) -> None:
    """Fill the file system to the last `leave` bytes."""
    stat = os.statvfs(path.parent)
    with path.open("wb") as file:
        file.write(bytes(max(0, stat.f_bavail * stat.f_frsize - leave)))


@pytest.mark.root
def test_a_full_disk_refuses_the_batch_and_takes_it_once_there_is_space(small_disk: Path) -> None:
    recorder = Recorder.open(small_disk, RIG, RIG_TEXT)
    try:
        route = recorder.begin_route(1)
        for second in range(30):
            recorder.commit(second_batch(route.id, second))
        assert not recorder.space_low
        fill(small_disk / "photos", leave=8192)
        second = 30
        with pytest.raises(StoreFullError, match="no space left"):
            for second in range(30, 3000):
                recorder.commit(second_batch(route.id, second))
        assert recorder.space_low
        assert not (small_disk / BALLAST_FILE).exists()
        # With the ballast gone, what must not be lost still goes through.
        alert = Batch(route.id, events=[event_row("clogged")], outbox=[message(777)])
        recorder.commit(alert)
        assert seconds_stored(small_disk, route.id) == list(range(second))
        # Until that is used up too.
        with pytest.raises(StoreFullError):
            for more in range(second, 10_000):
                recorder.commit(second_batch(route.id, more))
        stored = len(seconds_stored(small_disk, route.id))
        waiting = second_batch(route.id, stored)
        waiting.samples = Samples.join([waiting.samples, board_samples(9000, first=10**6)])
        with pytest.raises(StoreFullError):
            recorder.commit(waiting)
        assert recorder.space_low
        (small_disk / "photos").unlink()
        recorder.commit(waiting)
        assert not recorder.space_low
        assert (small_disk / BALLAST_FILE).exists()
        assert seconds_stored(small_disk, route.id) == list(range(stored + 1))
        assert any(row.key == "alert-777" for row in recorder.outbox(limit=9999))
    finally:
        recorder.close()
    assert integrity(small_disk) == "ok"


@pytest.mark.root
def test_on_a_full_disk_old_raw_samples_can_be_pruned_to_make_room(small_disk: Path) -> None:
    recorder = Recorder.open(small_disk, RIG, RIG_TEXT)
    try:
        old = recorder.begin_route(1)
        recorder.commit(Batch(old.id, samples=board_samples(120_000)))
        recorder.end_route(old.id, 5)
        route = recorder.begin_route(10)
        fill(small_disk / "photos")
        second = 0
        with pytest.raises(StoreFullError):
            for second in range(3000):
                recorder.commit(second_batch(route.id, second))
        assert recorder.prune_raw(old.id) == 120_000
        for later in range(second, second + 500):  # into the pages that came free
            recorder.commit(second_batch(route.id, later))
    finally:
        recorder.close()
    assert integrity(small_disk) == "ok"


@pytest.mark.root
def test_a_store_on_a_full_disk_still_opens_and_can_be_read(small_disk: Path) -> None:
    recorder = Recorder.open(small_disk, RIG, RIG_TEXT)
    route = recorder.begin_route(1)
    recorder.commit(second_batch(route.id, 0))
    recorder.close()
    fill(small_disk / "photos")
    recorder = Recorder.open(small_disk, RIG, RIG_TEXT)
    assert recorder.space_low  # the ballast paid for the log
    assert seconds_stored(small_disk, route.id) == [0]
    recorder.commit(Batch(route.id, events=[event_row("clogged")]))
    recorder.close()
    assert integrity(small_disk) == "ok"


# --- a file system that may not be written ----------------------------------------------------


@pytest.mark.root
@pytest.mark.parametrize("clean", [True, False], ids=["closed cleanly", "power was cut"])
def test_a_card_that_is_mounted_read_only_can_be_read_to_the_last_commit(
    small_disk: Path, clean: bool
) -> None:
    script = f"""
import os, sys
from pathlib import Path
from support.storing import RIG, RIG_TEXT, second_batch
from flowlog.store.recorder import Recorder
recorder = Recorder.open(Path(sys.argv[1]), RIG, RIG_TEXT)
route = recorder.begin_route(1)
for second in range(7):
    recorder.commit(second_batch(route.id, second))
{"recorder.close()" if clean else "os._exit(0)"}
"""
    env = {**os.environ, "PYTHONPATH": ":".join(sys.path)}
    subprocess.run([sys.executable, "-c", script, str(small_disk)], env=env, check=True)
    for leftover in small_disk.glob("*-shm"):
        leftover.unlink()  # as after a cut of power: its contents mean nothing then
    assert (small_disk / "flowlog.db-wal").exists() is not clean
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    assert seconds_stored(small_disk, 1) == list(range(7))
    with pytest.raises(StoreReadOnlyError, match="cannot be written"):
        Recorder.open(small_disk, RIG, RIG_TEXT)


@pytest.mark.root
def test_a_card_that_turns_read_only_and_back_loses_nothing(small_disk: Path) -> None:
    recorder = Recorder.open(small_disk, RIG, RIG_TEXT)
    route = recorder.begin_route(1)
    recorder.commit(second_batch(route.id, 0))
    recorder.close()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises(StoreReadOnlyError):
        Recorder.open(small_disk, RIG, RIG_TEXT)
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    recorder = Recorder.open(small_disk, RIG, RIG_TEXT)
    recorder.commit(second_batch(route.id, 1))
    recorder.close()
    assert seconds_stored(small_disk, route.id) == [0, 1]


@pytest.mark.root
@pytest.mark.parametrize("daemon", ["running", "stopped", "started later"])
def test_a_user_who_may_not_write_the_folder_can_read_it(
    open_folder: Path, tmp_path: Path, daemon: str
) -> None:
    if os.geteuid() != 0:
        pytest.skip("only root can become another user")
    script = """
import os, sys
from pathlib import Path
from flowlog.store.archive import Archive
Archive.open(Path(sys.argv[1])).close()  # load everything while this is still allowed
os.setresgid(65534, 65534, 65534)
os.setresuid(65534, 65534, 65534)
with Archive.open(Path(sys.argv[2])) as archive:
    print(len(archive.readings(1)["seq"]), flush=True)
    sys.stdin.readline()
    print(len(archive.readings(1)["seq"]), flush=True)
"""
    warm = tmp_path / "warm"
    Recorder.open(warm, RIG, RIG_TEXT).close()
    recorder = Recorder.open(open_folder, RIG, RIG_TEXT)
    route = recorder.begin_route(1)
    recorder.commit(second_batch(route.id, 0))
    if daemon != "running":
        recorder.close()
    reading = subprocess.Popen(
        [sys.executable, "-c", script, str(warm), str(open_folder)],
        env={**os.environ, "PYTHONPATH": ":".join(sys.path)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert reading.stdout is not None
        assert reading.stdout.readline() == "1\n"
        expected = 1
        if daemon != "stopped":
            if daemon == "started later":
                recorder = Recorder.open(open_folder, RIG, RIG_TEXT)
            recorder.commit(second_batch(route.id, 1))
            expected = 2
        assert reading.communicate("go on\n", timeout=30)[0] == f"{expected}\n"
    finally:
        reading.kill()
        reading.communicate()
        recorder.close()
    assert reading.returncode == 0


# --- missing and damaged ----------------------------------------------------------------------


def test_a_folder_without_a_store_is_said_to_have_none(tmp_path: Path) -> None:
    with pytest.raises(StoreMissingError, match=r"flowlog\.db: there is no database"):
        Archive.open(tmp_path)
    with pytest.raises(StoreMissingError):
        Archive.open(tmp_path / "nowhere")
    assert list(tmp_path.iterdir()) == []


def test_a_database_that_is_moved_away_while_in_use_is_missed_at_once_and_found_again(
    recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    recorder.commit(second_batch(route.id, 0))
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    files = list(tmp_path.glob("flowlog.db*"))
    for file in files:
        file.rename(elsewhere / file.name)
    for _ in range(2):
        with pytest.raises(StoreMissingError, match=r"flowlog\.db"):
            recorder.commit(second_batch(route.id, 1))
    assert not (tmp_path / "flowlog.db").exists()
    for file in elsewhere.iterdir():
        file.rename(tmp_path / file.name)
    recorder.commit(second_batch(route.id, 1))
    assert seconds_stored(tmp_path, route.id) == [0, 1]


def test_asking_for_a_route_that_is_not_there_says_so(recorder: Recorder, tmp_path: Path) -> None:
    with Archive.open(tmp_path) as archive:
        with pytest.raises(StoreMissingError, match="no route 7"):
            archive.route(7)
        assert list(archive.stream(7)) == []
        assert archive.routes() == []
        assert archive.latest() is None


@pytest.mark.parametrize("damage", ["head", "middle"])
def test_a_damaged_file_is_said_to_be_damaged(tmp_path: Path, damage: str) -> None:
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    route = recorder.begin_route(1)
    for second in range(300):
        recorder.commit(second_batch(route.id, second))
    recorder.close()
    path = tmp_path / "flowlog.db"
    octets = bytearray(path.read_bytes())
    if damage == "head":
        octets[:100] = bytes(range(100))
    else:
        octets[4096:] = b"\xa5" * (len(octets) - 4096)
    path.write_bytes(octets)
    with (
        pytest.raises(StoreCorruptError, match=r"flowlog\.db: the database is damaged"),
        Archive.open(tmp_path) as archive,
    ):
        archive.readings(route.id)
    with pytest.raises(StoreCorruptError):
        recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
        recorder.commit(second_batch(route.id, 300))
    # The lock must be free again, whatever went wrong.
    path.rename(tmp_path / "damaged.db")
    Recorder.open(tmp_path, RIG, RIG_TEXT).close()


def test_a_damaged_raw_block_is_named_and_does_not_pass_as_samples(
    recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    recorder.commit(Batch(route.id, samples=board_samples(700)))
    with sqlite3.connect(tmp_path / "flowlog.db") as db:
        (blob,) = db.execute("SELECT blob FROM raw_blocks").fetchone()
        hurt = bytearray(blob)
        hurt[40] ^= 4
        db.execute("UPDATE raw_blocks SET blob = ?", (bytes(hurt),))
    db.close()
    with Archive.open(tmp_path) as archive:
        with pytest.raises(StoreCorruptError, match="ordinal 0 of route 1: the block's checksum"):
            archive.raw(route.id)
        assert archive.events(route.id) == []


def test_a_recorder_goes_on_after_an_error_of_ours(recorder: Recorder, tmp_path: Path) -> None:
    route = recorder.begin_route(1)
    with pytest.raises(ValueError, match="without a route"):
        recorder.commit(Batch(None, samples=board_samples(1), events=[event_row("x")]))
    recorder.commit(second_batch(route.id, 0))
    assert seconds_stored(tmp_path, route.id) == [0]
