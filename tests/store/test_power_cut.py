"""The power fails at 400 points of a real writer's work: nothing that was answered is lost."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from support.power_cut import CALLS, Ack, Disk, Step, Sync, steps_of
from support.store_check import seconds_of_clean_prefix
from support.storing import RIG, RIG_TEXT

from flowlog.store.recorder import Recorder

WRITER = Path(__file__).parents[1] / "support" / "store_writer.py"
SECONDS = 150
CUTS = 400


@pytest.fixture(scope="module")
def steps(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Callable[[str], str]], list[Step]]:
    folder = tmp_path_factory.mktemp("traced") / "store"
    trace = folder.parent / "trace"
    kept: list[Step] = []

    def record(tool: Callable[[str], str]) -> list[Step]:
        if not kept:
            command = [tool("strace"), "-f", "-y", "-xx", "-s", "1000000", "-e", f"trace={CALLS}"]
            subprocess.run(
                [
                    *command,
                    "-o",
                    str(trace),
                    sys.executable,
                    str(WRITER),
                    str(folder),
                    str(SECONDS),
                ],
                env={**os.environ, "PYTHONPATH": ":".join(sys.path), "OPENBLAS_NUM_THREADS": "1"},
                stdout=subprocess.DEVNULL,
                check=True,
            )
            kept.extend(steps_of(trace, folder))
            trace.unlink()
        return kept

    return record


def stored_after(disk: Disk, rng: random.Random, folder: Path) -> int:
    """Seconds that are stored if the power fails now; -1 if there is no store yet."""
    folder.mkdir()
    try:
        disk.cut(rng, folder)
        if not (folder / "flowlog.db").exists() or not (folder / "flowlog.db").stat().st_size:
            return -1
        return seconds_of_clean_prefix(folder)
    finally:
        shutil.rmtree(folder)


def test_a_cut_of_power_leaves_whole_seconds_and_every_one_that_was_answered(
    steps: Callable[[Callable[[str], str]], list[Step]],
    tool: Callable[[str], str],
    tmp_path: Path,
) -> None:
    done = steps(tool)
    assert sum(isinstance(step, Ack) for step in done) == SECONDS
    assert sum(isinstance(step, Sync) for step in done) >= SECONDS
    first = next(i for i, step in enumerate(done) if isinstance(step, Ack))
    rng = random.Random(400)
    points = sorted(rng.choices(range(first, len(done) + 1), k=CUTS))
    disk, at = Disk(), 0
    unfinished = 0
    for number, point in enumerate(points):
        while at < point:
            disk.do(done[at])
            at += 1
        stored = stored_after(disk, rng, tmp_path / str(number))
        assert disk.acked + 1 <= stored <= disk.acked + 2, f"cut {number} before step {point}"
        unfinished += stored == disk.acked + 2
    assert unfinished  # some cuts fell between a commit's reaching the disk and its answer


def test_a_cut_of_power_while_the_store_is_being_made_leaves_none_or_an_empty_one(
    steps: Callable[[Callable[[str], str]], list[Step]],
    tool: Callable[[str], str],
    tmp_path: Path,
) -> None:
    done = steps(tool)
    first = next(i for i, step in enumerate(done) if isinstance(step, Ack))
    rng = random.Random(7)
    disk = Disk()
    for number, step in enumerate(done[:first]):
        folder = tmp_path / str(number)
        folder.mkdir()
        disk.do(step)
        disk.cut(rng, folder)
        Recorder.open(folder, RIG, RIG_TEXT).close()
        assert seconds_of_clean_prefix(folder) <= 1
        shutil.rmtree(folder)


def test_the_same_replay_finds_commits_that_were_answered_without_a_sync(
    steps: Callable[[Callable[[str], str]], list[Step]],
    tool: Callable[[str], str],
    tmp_path: Path,
) -> None:
    """The check itself can fail: with the log's syncs taken out, answered seconds are missing."""
    done = [step for step in steps(tool) if step != Sync("flowlog.db-wal")]
    rng = random.Random(3)
    lost = 0
    for number in range(25):
        disk = Disk()
        for step in done[: rng.randrange(len(done) // 2, len(done))]:
            disk.do(step)
        try:
            lost += stored_after(disk, rng, tmp_path / str(number)) < disk.acked + 1
        except Exception:  # noqa: BLE001 - a database that does not even open is lost as well
            lost += 1
    assert lost > 0
