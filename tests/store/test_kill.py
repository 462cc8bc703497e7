"""The writer is killed at random moments: whole commits remain, and every answered one."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from pathlib import Path

from support.store_check import seconds_of_clean_prefix

WRITER = Path(__file__).parents[1] / "support" / "store_writer.py"
KILLS = 20


def test_a_killed_writer_leaves_whole_commits_and_every_one_that_was_answered(
    tmp_path: Path,
) -> None:
    rng = random.Random(20)
    env = {**os.environ, "PYTHONPATH": ":".join(sys.path)}
    cut_in_the_middle = 0
    for number in range(KILLS):
        folder = tmp_path / str(number)
        writer = subprocess.Popen(
            [sys.executable, str(WRITER), str(folder), "100000"],
            env=env,
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            assert writer.stdout is not None
            assert writer.stdout.readline() == "ready\n"
            time.sleep(rng.uniform(0, 0.25))
        finally:
            writer.kill()
            said = writer.communicate()[0]
        answered = len([line for line in said.splitlines(keepends=True) if line.endswith("\n")])
        stored = seconds_of_clean_prefix(folder)
        assert answered <= stored <= answered + 1
        cut_in_the_middle += answered > 0
    assert cut_in_the_middle > KILLS // 2
