"""flowlog explain, as somebody runs it."""

from __future__ import annotations

import json
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import RIG_TEXT, store_scenario

from flowlog.cli import main

RECORDINGS = Path(__file__).parents[1] / "recordings"


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("explained")
    store_scenario(made)
    return made


@pytest.fixture
def run(folder: Path, tmp_path: Path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return lambda *words: CliRunner().invoke(main, ["explain", *words, "--data", str(folder)])


def test_a_number_of_the_review_is_what_is_explained(run, folder) -> None:
    listed = CliRunner().invoke(main, ["review", "last", "--data", str(folder)]).output
    assert "1. Tip blocked, stop 2" in listed
    result = run("1")
    assert result.exit_code == 0, result.output
    assert result.output.startswith("Tip blocked: alert 1 of route 1, Demo cart\n")
    for heading in (
        "What was said, and when",
        "Evidence of the strongest test",
        "Against what",
        "What it may be, and how likely",
        "What the pressure did",
        "How rough the flow was",
        "How sure one had to be",
        "What became of it",
        "What to check, in this order",
    ):
        assert heading in result.output, heading
    assert all(len(line) <= 80 for line in result.output.split("\n"))


def test_without_a_name_it_is_the_last_alert_of_the_last_route(run) -> None:
    assert run().output == run("last").output == run("2", "--route", "1").output


def test_files_are_written_instead_of_shown(run, tmp_path) -> None:
    result = run("1", "--svg", "a.svg", "--html", "a.html", "--json", "a.json")
    assert result.exit_code == 0, result.output
    assert result.stdout == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.html", "a.json", "a.svg"]
    ET.parse(tmp_path / "a.svg")
    assert (tmp_path / "a.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    found = json.loads((tmp_path / "a.json").read_text("utf-8"))
    assert found["format"] == "flowlog explanation"
    assert found["said_again"] is True
    assert len(found["ticks"]["at_s"]) == len(found["ticks"]["test_nats"]) > 100


def test_standard_output_holds_the_file_and_nothing_else(run) -> None:
    found = json.loads(run("1", "--json", "-").stdout)
    assert found["events"][0]["alert"] == found["alert"]
    assert found["signs"]["test"]["nats"] > found["signs"]["test"]["threshold_nats"]


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("7",), "there is no alert '7' on this route (there are: 1 tip_blocked."),
        (("tip_blocked.0.1",), "or 'last')"),
        (("1", "2"), "one alert at a time"),
        (("1", "--route", "north"), "there is no route 'north'"),
        (("none.flog",), "by which rig is it to be judged?"),
        (("none.flog", "--rig", "none.toml"), "none.toml"),
        (("1", "--svg", "none/such/a.svg"), "cannot be written"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(run, words, complaint) -> None:
    result = run(*words)
    assert result.exit_code == 2
    assert complaint in result.stderr
    assert len(result.stderr.strip().split("\n")) == 1


def test_an_alert_of_a_recording_is_explained_by_its_rig(run) -> None:
    rig = str(RECORDINGS / "rig.toml")
    result = run(str(RECORDINGS / "clogged-tip.flog"), "tip", "--rig", rig)
    assert result.exit_code == 0, result.output
    assert "of recording clogged-tip.flog" in result.output
    assert "What the pressure did" in result.output
    missing = run(str(RECORDINGS / "clogged-tip.flog"), "9", "--rig", rig)
    assert "there is no alert '9'" in missing.stderr


def test_a_recording_that_is_not_there_is_told(run, tmp_path) -> None:
    (tmp_path / "rig.toml").write_text(RIG_TEXT, encoding="utf-8")
    result = run("none.flog", "--rig", "rig.toml")
    assert result.exit_code == 2
    assert "none.flog" in result.stderr
