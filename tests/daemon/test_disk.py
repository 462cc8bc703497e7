"""A disk that runs full: the daemon says so, keeps events, and goes on when there is space."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from flowlog.daemon.writer import space_floor_bytes
from flowlog.simulator.plan import Fault


@pytest.fixture
def small_disk(tmp_path):
    """The daemon's data folder on a file system of 12 MB."""
    if os.geteuid() != 0:
        pytest.skip("only root may mount a small file system")
    folder = tmp_path / "data"
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", str(folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        pytest.skip(f"mount is refused here: {done.stderr.strip()}")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def fill_up(folder: Path) -> Path:
    ballast = folder / "other-data"
    with ballast.open("wb", buffering=0) as out:
        try:
            while True:
                out.write(b"\0" * 4096)
        except OSError:
            return ballast


@pytest.mark.root
@pytest.mark.slow
def test_a_full_disk_is_said_alerts_come_through_and_writing_goes_on_when_there_is_space(
    small_disk, board, daemon, make_scenario, wait_for
):
    source = board(make_scenario(8, 60, 5, Fault("tip blocked", 120.0, tip=3)), speed=15).start()
    running = daemon()
    wait_for(lambda: running.count("readings") > 20)
    other = fill_up(small_disk)
    wait_for(lambda: "full" in running.text())
    wait_for(lambda: any(getattr(h, "lamp", 0) == 2 for h in source.heard), 30)
    other.unlink()
    before = running.count("readings")
    wait_for(lambda: running.count("readings") > before + 20, 30)
    wait_for(lambda: running.rows("SELECT 1 FROM events WHERE code = 'tip_blocked'"))
    assert running.rows("PRAGMA integrity_check") == [("ok",)]
    opened = {c for (c,) in running.rows("SELECT code FROM events WHERE change = 'opened'")}
    assert opened & {"disk_low", "store_failing"}
    running.stop()
    assert "Traceback" not in running.text()


def test_the_floor_is_twenty_megabytes_or_a_fiftieth_of_a_small_disk():
    assert space_floor_bytes(16_000_000_000) == 20_000_000
    assert space_floor_bytes(12_000_000) == 240_000
