"""`flowlog board check`: real processes over real pseudo-terminals, recordings, exit codes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from flowlog.cli import main
from flowlog.simulator.live import lines
from flowlog.simulator.run import plain_rig, scenario_for, simulate

BROKEN_PORT = Path(__file__).parents[1] / "support" / "broken_port.py"
CHECKS = {
    # what is wrong with the board: options of the check
    "right": ["--seconds", "3"],
    "crlf": ["--seconds", "3", "--json"],
    "lower case": ["--seconds", "3"],
    "edge": ["--seconds", "5", "--json"],
    "restarts": ["--seconds", "2", "--restart", "--json"],
    "silent": ["--seconds", "1"],
}


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    """What the check of each board said: (exit code, stdout, stderr). All run at once."""
    folder = tmp_path_factory.mktemp("ports")
    boards, checks = [], {}
    try:
        for i, (what, options) in enumerate(CHECKS.items()):
            link = folder / f"board{i}"
            board = subprocess.Popen(
                [sys.executable, str(BROKEN_PORT), str(link), what], stdout=subprocess.PIPE
            )
            boards.append(board)
            assert board.stdout.readline() == b"ready\n"
            checks[what] = subprocess.Popen(
                [sys.executable, "-m", "flowlog", "board", "check", str(link), *options],
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )
        yield {
            what: (check.wait(90), *(check.stdout.read(), check.stderr.read()))
            for what, check in checks.items()
        }
    finally:
        for process in (*checks.values(), *boards):
            process.kill()
            process.wait()
            process.stdout.close()


def _failed(out):
    return {f["rule"] for f in json.loads(out)["findings"] if f["verdict"] == "fail"}


@pytest.mark.slow
def test_a_right_board_on_a_port_is_told_so(checked):
    code, out, err = checked["right"]
    assert code == 0, out
    assert out.rstrip().splitlines()[-1].startswith("Nothing is wrong.")
    assert "listening for 3 s" in err
    assert "lamp and buzzer fast" in err


@pytest.mark.slow
def test_lines_may_end_with_cr_and_lf(checked):
    code, out, _ = checked["crlf"]
    assert code == 0, out
    body = json.loads(out)
    assert body["conforms"] is True
    assert body["samples"] > 100


@pytest.mark.slow
def test_a_broken_checksum_is_explained(checked):
    code, out, _ = checked["lower case"]
    assert code == 1
    assert "WRONG  L4" in out
    assert "capitals" in out
    assert "The board does not speak the protocol: L4" in out


@pytest.mark.slow
def test_a_broken_edge_time_is_the_only_finding(checked):
    code, out, _ = checked["edge"]
    assert code == 1
    assert _failed(out) == {"S6"}


@pytest.mark.slow
def test_a_start_is_judged_when_the_person_makes_one(checked):
    code, out, err = checked["restarts"]
    assert code == 0, out
    assert "restart the board now" in err
    assert "started again" in err
    verdicts = {f["rule"]: f["verdict"] for f in json.loads(out)["findings"]}
    assert {verdicts[number] for number in ("B1", "B2", "H2")} == {"pass"}


@pytest.mark.slow
def test_a_board_that_says_nothing_could_not_be_listened_to(checked):
    code, out, err = checked["silent"]
    assert code == 2
    assert out == ""
    assert "not one byte came" in err
    assert "Traceback" not in err


def _recording(path, faults=b""):
    run = simulate(scenario_for(plain_rig(), hours=0.03, seed=1))
    stream = b"".join(line for _, line in lines(run))
    path.write_bytes(b"# flowlog recording 1\n# rig: x\n#\n" + stream + faults)


def test_a_recording_can_be_checked(tmp_path):
    path = tmp_path / "good.flog"
    _recording(path)
    result = CliRunner().invoke(main, ["board", "check", str(path)])
    assert result.exit_code == 0, result.output
    assert "Nothing is wrong." in result.output


def test_a_recording_with_faults_ends_with_1(tmp_path):
    path = tmp_path / "bad.flog"
    _recording(path, b"S,1,5*0000\n")
    result = CliRunner().invoke(main, ["board", "check", str(path), "--json"])
    assert result.exit_code == 1
    assert _failed(result.output) == {"L4"}


@pytest.mark.parametrize("content", [b"# flowlog recording 1\n#\n", b"nothing of the kind"])
def test_a_file_that_holds_no_board_ends_with_2(tmp_path, content):
    path = tmp_path / "x.flog"
    path.write_bytes(content)
    result = CliRunner().invoke(main, ["board", "check", str(path)])
    assert result.exit_code == 2
    assert "Traceback" not in result.output


def test_a_port_that_is_not_there_ends_with_2(tmp_path):
    result = CliRunner().invoke(main, ["board", "check", str(tmp_path / "none")])
    assert result.exit_code == 2
    assert "no such port" in result.output
