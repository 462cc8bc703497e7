"""The files for the service manager and the device manager, with their own checkers."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

SYSTEMD = Path(__file__).parents[2] / "systemd"
EXPOSURE_LIMIT = 20
"""2.0 on the scale of `systemd-analyze security`, which counts in tenths here."""


@pytest.fixture(params=["flowlog@.service", "flowlog-page@.service"])
def rendered(tmp_path, request) -> Path:
    """A unit as installed, but with a program that exists here."""
    text = (SYSTEMD / request.param).read_text()
    unit = tmp_path / request.param
    unit.write_text(text.replace("/opt/flowlog/bin/flowlog", sys.executable))
    return unit


def test_the_unit_is_understood_without_a_word(tool, rendered):
    done = subprocess.run(
        [tool("systemd-analyze"), "verify", str(rendered)],
        capture_output=True,
        text=True,
        check=False,
    )
    # An unknown key is only a warning with exit code 0: any output is a fault.
    assert (done.stdout, done.stderr, done.returncode) == ("", "", 0)


def test_the_exposure_is_two_at_most(tool, rendered):
    done = subprocess.run(
        [
            tool("systemd-analyze"),
            "security",
            "--offline=true",
            f"--threshold={EXPOSURE_LIMIT}",
            str(rendered),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    found = re.search(r"exposure level for \S+: ([\d.]+)", done.stdout)
    assert found, done.stdout + done.stderr
    assert float(found[1]) <= EXPOSURE_LIMIT / 10
    assert done.returncode == 0


def test_the_watchdog_is_slower_than_what_it_waits_for():
    """A commit on a locked database waits five seconds, a backoff fifteen: no reason to restart."""
    from flowlog.daemon.writer import LONGEST_BACKOFF_S, WAIT_S

    unit = (SYSTEMD / "flowlog@.service").read_text()
    (watchdog_s,) = re.findall(r"^WatchdogSec=(\d+)$", unit, re.MULTILINE)
    assert int(watchdog_s) / 2 > max(LONGEST_BACKOFF_S, 5.0) + WAIT_S


def test_the_device_rule_names_no_vendor():
    rules = (SYSTEMD / "60-flowlog.rules").read_text()
    active = [line for line in rules.splitlines() if line and not line.startswith("#")]
    assert active
    assert not any("idVendor" in line or "idProduct" in line for line in active)


def test_the_device_rule_is_well_formed():
    """Each part is KEY==value, KEY=value, KEY+=value or KEY!=value, as udev(7) has it."""
    part = re.compile(r'[A-Z]+(\{[^}]+\})?(==|!=|\+=|=|:=)"[^"]*"')
    for line in (SYSTEMD / "60-flowlog.rules").read_text().splitlines():
        if line and not line.startswith("#"):
            for each in re.split(r",\s*", line):
                assert part.fullmatch(each), each
