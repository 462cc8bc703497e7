"""Shared by all tests: a test that needs a real service fails in CI where it would be skipped."""

from __future__ import annotations

import os
import shutil

import pytest


def need(tool: str) -> str:
    """Path of a program, or skip visibly; under CI its absence is a failure."""
    found = shutil.which(tool) or shutil.which(tool, path="/usr/sbin:/sbin:/usr/local/sbin")
    if found is None:
        message = f"{tool} is not installed"
        if os.environ.get("CI"):
            pytest.fail(f"{message}, and CI must not skip")
        pytest.skip(message)
    return found


@pytest.fixture
def tool():
    """`tool("mosquitto")` gives the program's path or skips (fails under CI)."""
    return need
