"""The MicroPython firmware in a real MicroPython, on a pseudo-terminal, under the real check."""

from __future__ import annotations

import json
import subprocess
import sys
import time

import pytest
from support.micropython import FOLDER, SCRIPTS, interpreter


@pytest.fixture
def start_board(tool, tmp_path):
    """`start_board(n)` gives a port with the firmware behind it, as a board on USB."""
    started = []

    def start(number):
        link = tmp_path / f"board{number}"
        firmware = f"{interpreter('micropython')} {SCRIPTS / 'micropython_live.py'} {FOLDER} 61"
        joined = subprocess.Popen(
            [tool("socat"), f"PTY,link={link},raw,echo=0,wait-slave", f"EXEC:{firmware}"],
            stderr=subprocess.PIPE,
        )
        started.append(joined)
        until = time.monotonic() + 10
        while not link.exists():
            assert joined.poll() is None, joined.stderr.read()
            assert time.monotonic() < until, "socat made no port"
            time.sleep(0.01)
        return link

    yield start
    for joined in started:
        joined.terminate()
        joined.wait(10)
        joined.stderr.close()


STARVED = {"S11", "H3", "C2", "C4"}
"""What a board breaks whose processor is taken away for a tenth of a second or more. A chip's is
not, but that of a process is, on a machine with more to do than it can."""


def _checked(port):
    check = subprocess.run(
        [sys.executable, "-m", "flowlog", "board", "check", str(port), "--seconds", "3", "--json"],
        capture_output=True,
        text=True,
        timeout=80,
        check=False,
    )
    assert check.returncode in {0, 1}, check.stderr
    body = json.loads(check.stdout)
    return body, {f["rule"]: f["verdict"] for f in body["findings"]}


@pytest.mark.slow
@pytest.mark.timeout(200)
def test_the_real_check_finds_nothing_wrong_with_the_real_firmware(start_board):
    for attempt in range(3):
        body, verdicts = _checked(start_board(attempt))
        failed = {number for number, verdict in verdicts.items() if verdict == "fail"}
        if not failed:
            break
        assert failed <= STARVED, body
    assert failed == set(), body
    assert body["firmware"].startswith("upy-")
    assert body["samples"] > 150
    # All that the check says reaches the firmware through its own reading of standard input.
    kept = {"S4", "S5", "S6", "H2", "H3", "H5", "B2", "C1", "C2", "C3", "C4", "L5"}
    assert {number for number in kept if verdicts[number] != "pass"} == set(), body
