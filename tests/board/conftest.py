"""The firmware built once, and boards to run it in. Needs the compiler and the emulator."""

from __future__ import annotations

import os
import shutil
import subprocess

import pytest
from support.bench_scenes import rest
from support.emulated_board import TOOLS, EmulatedBoard, Program, build


def _need(there: bool, what: str) -> None:
    if there:
        return
    if os.environ.get("CI"):
        pytest.fail(f"{what} is not installed, and CI must not skip")
    pytest.skip(f"{what} is not installed")


@pytest.fixture(scope="session")
def toolchain() -> None:
    for tool in TOOLS:
        _need(shutil.which(tool) is not None, tool)
    found = subprocess.run(["pkg-config", "--exists", "simavr"], check=False)
    _need(found.returncode == 0, "the emulator's library")


@pytest.fixture(scope="session")
def program(toolchain, tmp_path_factory) -> Program:
    """As it comes: meter, gauge and valve."""
    return build(tmp_path_factory.mktemp("firmware"))


@pytest.fixture(scope="session")
def wheel_program(toolchain, tmp_path_factory) -> Program:
    return build(tmp_path_factory.mktemp("wheel"), "-DWHEEL_FITTED=1")


@pytest.fixture
def power_on(program):
    """`power_on()` gives a board that has just got its supply, boom shut, nothing flowing."""
    boards: list[EmulatedBoard] = []

    def make(built: Program = program) -> EmulatedBoard:
        board = EmulatedBoard(built)
        boards.append(board)
        rest(board)
        return board

    yield make
    for board in boards:
        board.close()
