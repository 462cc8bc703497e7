"""`flowlog replay` as a person types it."""

from __future__ import annotations

import json
import sys
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import store_scenario

from flowlog.cli import main

RIG_FILE = resources.files("flowlog.simulator") / "scenarios" / "rig.toml"


@pytest.fixture(scope="module")
def recording(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("recordings") / "morning.flog"
    result = CliRunner().invoke(main, ["simulate", "morning", "--to", str(path)])
    assert result.exit_code == 0, result.output
    return path


def run(*words: object):
    return CliRunner().invoke(main, ["replay", *(str(word) for word in words)])


def test_a_recording_is_told_with_times_a_summary_and_the_speed(recording):
    result = run(recording, "--rig", RIG_FILE)
    assert result.exit_code == 0
    lines = result.output.split("\n")
    opened = next(line for line in lines if " opened " in line and "blocked" in line)
    # The scenario clogs the tip 8 min 10 s after the beginning.
    assert opened.strip().startswith("0:08:1")
    assert "Mean rate" in result.output
    assert "8,570 samples" in result.output
    assert "samples/s" in result.output


def test_as_json_it_is_nothing_but_json(recording):
    body = json.loads(run(recording, "--rig", RIG_FILE, "--json").stdout)
    assert body["samples"] == 8570
    assert body["lines"]["samples"] == 8570
    assert body["events"][0]["code"] == "tip_blocked"
    assert body["events"][0]["at"].keys() == {"segment", "seq", "t_us"}
    assert body["figures"]["volume_m3"] == pytest.approx(0.1428, rel=0.02)


def test_a_stored_route_is_replayed_from_its_folder_or_by_number(tmp_path):
    store_scenario(tmp_path / "cart")
    by_folder = json.loads(run(tmp_path / "cart", "--json").stdout)
    by_number = json.loads(run("1", "--data", tmp_path, "--json").stdout)
    for body in (by_folder, by_number):
        assert body["samples"] == 8570
        assert body["events"][0]["code"] == "tip_blocked"


def test_another_calibration_gives_another_volume(recording, tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text(RIG_FILE.read_text("utf-8").replace("450 pulse/L", "500 pulse/L"))
    one = json.loads(run(recording, "--rig", RIG_FILE, "--json").stdout)
    other = json.loads(run(recording, "--rig", rig, "--json").stdout)
    assert other["figures"]["volume_m3"] == pytest.approx(0.9 * one["figures"]["volume_m3"])


def test_dropped_lines_are_told(recording, tmp_path):
    damaged = tmp_path / "damaged.flog"
    data = recording.read_bytes()
    damaged.write_bytes(data.replace(b"S,1,100,", b"S,1,1Z0,"))
    assert data != damaged.read_bytes()
    assert "Lines that were dropped: 1" in run(damaged, "--rig", RIG_FILE).output


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["none.flog", "--rig", RIG_FILE], "none.flog"),
        (["none.flog"], "none.flog"),
        (["last", "--data", "/nowhere"], "no rig has logged here"),
    ],
)
def test_what_cannot_be_is_one_plain_line_and_exit_2(words, told):
    result = run(*words)
    assert result.exit_code == 2
    assert told in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_recording_needs_a_rig_file(recording):
    result = run(recording)
    assert result.exit_code == 2
    assert "--rig" in result.stderr
