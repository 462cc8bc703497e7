"""`flowlog watch` on a real terminal, in a pipe, and where there is nothing to watch."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import store_items, store_scenario

from flowlog.cli import main


@pytest.fixture(scope="module")
def data(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("rigs")
    store_scenario(folder / "demo-cart")
    return folder


class Tmux:
    """A terminal of its own, seen through tmux."""

    def __init__(self, program: str, socket: Path) -> None:
        self._words = [program, "-f", "/dev/null", "-S", str(socket)]

    def __call__(self, *words: str) -> str:
        done = subprocess.run(
            [*self._words, *words], capture_output=True, text=True, timeout=20, check=False
        )
        return done.stdout

    def start(self, command: str, width: int = 80, height: int = 24) -> None:
        self(
            "new-session", "-d", "-x", str(width), "-y", str(height),
            f"{command}; echo EXIT=$?; stty -a | grep -o '[-]*icanon'; sleep 60",
        )  # fmt: skip

    def until(self, text: str, seconds: float = 20.0) -> str:
        """What is on the screen as soon as `text` is."""
        end = time.monotonic() + seconds
        seen = ""
        while time.monotonic() < end:
            seen = self("capture-pane", "-p")
            if text in seen:
                return seen
            time.sleep(0.1)
        raise AssertionError(f"{text!r} did not appear on:\n{seen}")


@pytest.fixture
def tmux(tool, tmp_path):
    terminal = Tmux(tool("tmux"), tmp_path / "tmux")
    yield terminal
    terminal("kill-server")


def watch(data: Path, *options: str, environ: str = "") -> str:
    words = [sys.executable, "-m", "flowlog", "watch", "--data", str(data), *options]
    return f"LC_ALL=C.UTF-8 {environ} " + " ".join(words)


def test_it_fills_an_80_by_24_terminal_and_q_gives_it_back(tmux, data):
    tmux.start(watch(data))
    seen = tmux.until("NO DATA")
    lines = seen.rstrip("\n").split("\n")
    assert len(lines) <= 24
    assert "Demo cart" in lines[0]
    assert " old" in lines[0]
    assert "no daemon runs" in seen
    assert "██████" in seen
    tmux("send-keys", "q")
    seen = tmux.until("EXIT=")
    assert "EXIT=0" in seen
    # Keys are echoed and lines edited again, and nothing of the screen is left.
    assert "-icanon" not in tmux.until("icanon")
    assert "██████" not in seen


def test_ctrl_c_ends_it_as_well(tmux, data):
    tmux.start(watch(data))
    tmux.until("NO DATA")
    tmux("send-keys", "C-c")
    assert "EXIT=0" in tmux.until("EXIT=")
    assert "-icanon" not in tmux.until("icanon")


def test_it_follows_the_size_of_the_terminal(tmux, data):
    tmux.start(watch(data))
    tmux.until("NO DATA")
    tmux("resize-window", "-x", "44", "-y", "12")
    time.sleep(1.0)
    lines = tmux.until("NO DATA").rstrip("\n").split("\n")
    assert len(lines) <= 12
    assert max(len(line) for line in lines) <= 44
    tmux("resize-window", "-x", "100", "-y", "30")
    time.sleep(1.0)
    assert "NO DATA" in tmux("capture-pane", "-p")


def test_without_colour_the_words_are_all_there(tmux, data):
    tmux.start(watch(data, environ="NO_COLOR=1"))
    tmux.until("NO DATA")
    with_codes = tmux("capture-pane", "-p", "-e")
    assert "NO DATA" in with_codes
    colours = [f"\x1b[{number}" for number in (*range(31, 38), *range(41, 48))]
    assert not any(colour in with_codes for colour in colours)


def test_a_termination_signal_gives_the_terminal_back(tmux, data):
    tmux.start("exec 3>&1; " + watch(data))
    tmux.until("NO DATA")
    pane = int(tmux("list-panes", "-F", "#{pane_pid}").strip())
    children = Path(f"/proc/{pane}/task/{pane}/children").read_text().split()
    os.kill(int(children[0]), signal.SIGTERM)
    assert "-icanon" not in tmux.until("icanon")


def test_in_a_pipe_it_is_one_plain_line_a_second(data):
    process = subprocess.Popen(
        [sys.executable, "-m", "flowlog", "watch", "--data", str(data)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        lines = [process.stdout.readline() for _ in range(2)]
    finally:
        process.send_signal(signal.SIGINT)
        _, complaints = process.communicate(timeout=20)
    assert process.returncode == 0
    assert complaints == ""
    for line in lines:
        assert "| NO DATA |" in line
        assert "\x1b" not in line


def test_a_reader_that_has_enough_does_not_make_it_complain(data):
    done = subprocess.run(
        f"{watch(data)} | head -n 1", shell=True, capture_output=True, text=True, timeout=30,
        check=False,
    )  # fmt: skip
    assert done.stdout.count("\n") == 1
    assert done.stderr == ""


@pytest.mark.parametrize("made", [False, True])
def test_where_no_rig_has_logged_it_is_one_plain_line_and_exit_2(tmp_path, made):
    folder = tmp_path / "rigs"
    if made:
        folder.mkdir()
    result = CliRunner().invoke(main, ["watch", "--data", str(folder)])
    assert result.exit_code == 2
    assert "no rig has logged here" in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_store_without_data_says_so(tmp_path):
    store_items(tmp_path, [], ended=False)
    process = subprocess.Popen(
        [sys.executable, "-m", "flowlog", "watch", "--data", str(tmp_path), "--lines"],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert "no data yet" in process.stdout.readline()
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)
