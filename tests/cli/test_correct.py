"""`flowlog correct` at the terminal, as a person types it."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import store_scenario

from flowlog.cli import main


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("rig")
    store_scenario(made)
    return made


def run(folder: Path, *words: str):
    return CliRunner().invoke(main, ["correct", "1", "--data", str(folder), *words])


def stops(folder: Path):
    found = CliRunner().invoke(main, ["review", "1", "--data", str(folder), "--summary-json", "-"])
    return json.loads(found.stdout)["stops"]


def test_correct_look_and_take_back(folder):
    assert "nothing was corrected" in run(folder).output
    before = stops(folder)
    done = run(folder, "--stop", "1", "--name", "Mill Lane 9", "--by", "Ann", "--reason", "typo")
    assert "Correction 1 of route 1 holds." in done.output
    run(folder, "--stop", "2", "--area", "12000 ft2")
    run(folder, "--stop", "3", "--merge")
    after = stops(folder)
    assert [stop["name"] for stop in after] == ["Mill Lane 9", None]
    counted = before[2]["figures"]["area_m2"]
    assert after[1]["figures"]["area_m2"] == pytest.approx(12000 * 0.09290304 + counted)
    listed = run(folder).output
    assert "is called 'Mill Lane 9'; Ann, " in listed
    assert "typo" in listed
    for number in ("3", "2", "1"):
        assert run(folder, "--undo", number).exit_code == 0
    assert stops(folder) == before
    assert "(undone)" in run(folder).output


def test_derived_anew_with_the_rig_file_alone(folder):
    done = run(folder, "--rig-file-only")
    assert done.exit_code == 0
    shown = CliRunner().invoke(main, ["review", "1", "--data", str(folder)]).output
    assert "derived anew" in shown
    assert run(folder, "--as-watched").exit_code == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--name", "x"), "which stop?"),
        (("--stop", "1"), "what about it?"),
        (("--stop", "1", "--name", "x", "--merge"), "one correction at a time"),
        (("--stop", "9", "--name", "x"), "has stops 1 to"),
        (("--stop", "1", "--merge"), "before the first"),
        (("--stop", "1", "--area", "12"), "area"),
        (("--stop", "1", "--split", "x"), "is no time"),
        (("--calibration", "5"), "no number 5"),
        (("--undo", "99"), "has corrections 1 to"),
    ],
)
def test_what_cannot_be_is_one_plain_line_and_exit_2(folder, words, told):
    found = run(folder, *words)
    assert found.exit_code == 2
    assert told in found.output + found.stderr
    assert "Traceback" not in found.output
