"""Runs the board's MicroPython firmware on the host, under both Pythons."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).parents[2] / "firmware-notes" / "micropython"
SCRIPTS = Path(__file__).parents[1] / "firmware_notes"


def interpreter(name: str) -> str:
    """Path of "python" or "micropython"; the latter is skipped where there is none, but in CI."""
    if name == "python":
        return sys.executable
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        message = "micropython is not installed"
        if os.environ.get("CI"):
            pytest.fail(f"{message}, and CI must not skip")
        pytest.skip(message)
    return found


def _run(python: str, script: str, given: Any) -> str:
    done = subprocess.run(
        [interpreter(python), str(SCRIPTS / script), str(FOLDER)],
        input=json.dumps(given),
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    assert done.returncode == 0, done.stderr + done.stdout[-500:]
    return done.stdout


def bench(python: str, **job: Any) -> tuple[list[tuple[float, bytes]], dict[str, Any]]:
    """Pieces with their pretended second, and what was truly there."""
    *lines, last = _run(python, "micropython_bench.py", job).splitlines()
    pieces = []
    for line in lines:
        us, _, text = line.partition(" ")
        pieces.append((int(us) / 1e6, bytes.fromhex(text)))
    assert last.startswith("end ")
    return pieces, json.loads(last[4:])


def call(python: str, *calls: tuple[str, list[Any]]) -> list[Any]:
    """What each call of the firmware gives."""

    def coded(value: Any) -> Any:
        if isinstance(value, bytes):
            return {"hex": value.hex()}
        if isinstance(value, dict):
            return {"settings": value}
        if isinstance(value, (list, tuple)):
            return [coded(part) for part in value]
        return value

    def decoded(value: Any) -> Any:
        if isinstance(value, dict) and set(value) == {"hex"}:
            return bytes.fromhex(value["hex"])
        if isinstance(value, dict):
            return {key: decoded(part) for key, part in value.items()}
        if isinstance(value, list):
            return [decoded(part) for part in value]
        return value

    result = json.loads(_run(python, "micropython_calls.py", coded(list(calls))))
    return [decoded(value) for value in result]
