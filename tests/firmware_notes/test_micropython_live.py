"""The MicroPython firmware in a real MicroPython, on a pseudo-terminal, under the real check."""

from __future__ import annotations

import json
import subprocess
import sys
import time

import pytest
from support.micropython import FOLDER, SCRIPTS, interpreter


@pytest.fixture
def port(tool, tmp_path):
    """A port with the firmware behind it, as a board on USB."""
    link = tmp_path / "board"
    firmware = f"{interpreter('micropython')} {SCRIPTS / 'micropython_live.py'} {FOLDER} 61"
    joined = subprocess.Popen(
        [tool("socat"), f"PTY,link={link},raw,echo=0,wait-slave", f"EXEC:{firmware}"],
        stderr=subprocess.PIPE,
    )
    until = time.monotonic() + 10
    while not link.exists():
        assert joined.poll() is None, joined.stderr.read()
        assert time.monotonic() < until, "socat made no port"
        time.sleep(0.01)
    yield link
    joined.terminate()
    joined.wait(10)
    joined.stderr.close()


@pytest.mark.slow
def test_the_real_check_finds_nothing_wrong_with_the_real_firmware(port):
    check = subprocess.run(
        [sys.executable, "-m", "flowlog", "board", "check", str(port), "--seconds", "3", "--json"],
        capture_output=True,
        text=True,
        timeout=80,
        check=False,
    )
    assert check.returncode == 0, check.stdout + check.stderr
    body = json.loads(check.stdout)
    assert body["firmware"].startswith("upy-")
    assert body["samples"] > 150
    verdicts = {f["rule"]: f["verdict"] for f in body["findings"]}
    # All that the check says reaches the firmware through its own reading of standard input.
    kept = {"S4", "S5", "S6", "H2", "H3", "H5", "B2", "C1", "C2", "C3", "C4", "L5"}
    assert {number for number in kept if verdicts[number] != "pass"} == set(), check.stdout
