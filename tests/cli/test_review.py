"""`flowlog review` as a person types it."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import RIG_TEXT, store_items, store_scenario

from flowlog.cli import main
from flowlog.store.rows import StopMark


@pytest.fixture(scope="module")
def data(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("rigs")
    store_scenario(folder / "demo-cart")
    return folder


def run(*words: object):
    return CliRunner().invoke(main, ["review", *(str(word) for word in words)])


def test_the_list(data):
    result = run("--data", data)
    assert result.exit_code == 0
    assert "Demo cart: 1 route" in result.output


@pytest.mark.parametrize("route", ["last", "1"])
def test_one_route(data, route):
    result = run(route, "--data", data)
    assert result.exit_code == 0
    assert "Tip blocked, stop 2" in result.output


def test_the_rig_file_leads_to_its_folder(data, tmp_path):
    rig = tmp_path / "rig.toml"
    folder = f'[rig]\ndata_folder = "{data / "demo-cart"}"'
    rig.write_text(RIG_TEXT.replace("[rig]", folder))
    assert "Tip blocked" in run("last", "--rig", rig).output


def test_all_exports_at_once(data, tmp_path):
    files = [tmp_path / name for name in ("r.csv", "r.json", "s.csv", "s.json")]
    options = ["--csv", "--json", "--summary-csv", "--summary-json"]
    words = [word for pair in zip(options, files, strict=True) for word in pair]
    result = run("last", "--data", data, *words)
    assert result.exit_code == 0
    assert len(list(csv.DictReader(files[0].open(newline="")))) > 800
    assert len(json.loads(files[1].read_text())["readings"]) > 800
    assert len(list(csv.DictReader(files[2].open(newline="")))) == 4
    assert json.loads(files[3].read_text())["format"] == "flowlog summary"


def test_an_export_to_standard_output_is_nothing_but_the_export(data):
    result = run("last", "--data", data, "--summary-json", "-")
    assert json.loads(result.stdout)["format"] == "flowlog summary"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["none"], "no route 'none'"),
        (["99"], "there is no route '99'"),
        (["last", "--csv", "/nowhere/at/all.csv"], "cannot be written"),
    ],
)
def test_what_cannot_be_is_one_plain_line_and_exit_2(data, words, told):
    result = run(*words, "--data", data)
    assert result.exit_code == 2
    assert told in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_missing_folder_is_one_plain_line(tmp_path):
    result = run("--data", tmp_path / "none")
    assert result.exit_code == 2
    assert "no rig has logged here" in result.stderr
    assert "Traceback" not in result.stderr


def test_a_file_that_is_no_database_is_one_plain_line(tmp_path):
    (tmp_path / "flowlog.db").write_bytes(b"not a database" * 100)
    result = run("--data", tmp_path)
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1


def test_a_store_without_readings(tmp_path):
    store_items(tmp_path, [], ended=False)
    assert "1 route" in run("--data", tmp_path).output
    assert "Nothing was sprayed" in run("last", "--data", tmp_path).output


def real(*words: object, out=subprocess.PIPE, **environ: str):
    return subprocess.run(
        [sys.executable, "-m", "flowlog", "review", *(str(word) for word in words)],
        stdout=out,
        stderr=subprocess.PIPE,
        env={**os.environ, **environ},
        check=False,
        timeout=60,
    )


def test_a_terminal_without_the_letters_of_a_name_shows_others(tmp_path):
    mark = StopMark("Bäckerei ☃", "name", 0, 0, 100_000_000, "uid-12345")
    store_scenario(tmp_path, marks=(mark,))
    done = real("last", "--data", tmp_path, PYTHONIOENCODING="ascii")
    assert done.returncode == 0, done.stderr
    assert b"B?ckerei ?" in done.stdout
    done = real("last", "--data", tmp_path, "--summary-csv", "-", PYTHONIOENCODING="ascii")
    assert "Bäckerei ☃".encode() in done.stdout


@pytest.mark.parametrize("options", [[], ["--csv", "-"], ["--json", "-"], ["--csv", "/dev/full"]])
def test_a_full_disk_behind_standard_output_is_one_plain_line(data, options):
    with Path("/dev/full").open("wb") as full:
        done = real("last", "--data", data, *options, out=full)
    assert done.returncode != 0
    assert b"cannot be written: No space left" in done.stderr
    assert b"Traceback" not in done.stderr
