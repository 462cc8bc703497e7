"""The demonstration's folder, rig file and commands; its processes; its verdict."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import store_scenario

from flowlog.demo.children import ChildError, Children
from flowlog.demo.setting import DemoError, Setting, make_folder, typed, write_rig
from flowlog.demo.story import NotCaughtError, verdict
from flowlog.review.load import load_route
from flowlog.rig.reader import read_rig
from flowlog.store.archive import Archive

TRUTH = {
    "faults": [{"kind": "tip blocked", "at_s": 490.0, "until_s": 660.0, "tip": 3, "size": 1.0}],
    "volume_m3": 0.14284,
}


def test_a_second_folder_gets_a_number(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert [make_folder(None).name for _ in range(3)] == [
        "flowlog-demo",
        "flowlog-demo-2",
        "flowlog-demo-3",
    ]


def test_a_wanted_folder_must_be_empty(tmp_path):
    assert make_folder(tmp_path / "a" / "b") == tmp_path / "a" / "b"
    with pytest.raises(DemoError, match="is not empty"):
        make_folder(tmp_path / "a")


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(DemoError, match="cannot be made"):
        make_folder(tmp_path / "file" / "below")


@pytest.mark.parametrize(
    ("broker", "host", "port"),
    [
        ("localhost", "localhost", 1883),
        ("10.0.0.7:2883", "10.0.0.7", 2883),
        ("[::1]:2883", "::1", 2883),
        ("::1", "::1", 1883),
    ],
)
def test_the_rig_file_names_port_folder_and_broker(tmp_path, broker, host, port):
    setting = Setting(tmp_path)
    write_rig(setting, broker)
    rig = read_rig(setting.rig_file, {})
    assert rig.board.port == str(tmp_path / "board")
    assert rig.data_folder == str(tmp_path / "data")
    assert (rig.broker.host, rig.broker.port) == (host, port)


def test_without_a_broker_there_is_none(tmp_path):
    write_rig(Setting(tmp_path), None)
    assert read_rig(Setting(tmp_path).rig_file, {}).broker is None


@pytest.mark.parametrize("broker", ["host:", "host:x", "host:0", "host:70000", ":1883"])
def test_a_broker_that_is_none_is_refused(tmp_path, broker):
    with pytest.raises(DemoError, match="HOST:PORT"):
        write_rig(Setting(tmp_path), broker)


def test_commands_are_printed_so_that_they_can_be_typed(tmp_path, monkeypatch):
    folder = tmp_path / "with space"
    folder.mkdir()
    monkeypatch.chdir(tmp_path)
    words = shlex.split(typed("review", "last", "--rig", folder / "rig.toml"))
    assert words[-4:] == ["review", "last", "--rig", "with space/rig.toml"]


def test_all_processes_are_ended_whatever_happens(tmp_path):
    children = Children()
    with pytest.raises(KeyboardInterrupt), children:
        words = ["simulate", "healthy", "--to", "pty", "--link", tmp_path / "board"]
        child = children.start("simulate", words, tmp_path / "log")
        end = time.monotonic() + 20
        while not (tmp_path / "board").exists() and time.monotonic() < end:
            time.sleep(0.05)
        raise KeyboardInterrupt
    assert child.ended()
    assert not (tmp_path / "board").exists()


def test_a_process_that_fails_is_told_with_what_it_said_last(tmp_path):
    with (
        Children() as children,
        pytest.raises(ChildError, match=r"simulate ended with 2: .*nosuch"),
    ):
        child = children.start("simulate", ["simulate", "nosuch"], tmp_path / "log")
        children.wait(child, 20)


def test_a_process_that_does_not_end_is_told(tmp_path):
    with Children() as children, pytest.raises(ChildError, match="did not end within"):
        words = ["simulate", "healthy", "--to", "pty"]
        children.wait(children.start("simulate", words, tmp_path / "log"), 0.2)


@pytest.fixture(scope="module")
def review(tmp_path_factory):
    folder = tmp_path_factory.mktemp("morning")
    store_scenario(folder)
    with Archive.open(folder) as archive:
        return load_route(archive, "last")


def test_the_verdict_names_tip_time_and_size(review):
    caught, volume = verdict(review, TRUTH)
    assert "tip 3 clogged 8 min 10 s after the beginning" in caught
    assert "s later: " in caught
    assert "blocked (" in caught
    assert volume == "Volume: 37.7 gal measured, 37.7 gal truly sprayed."


def test_a_tip_that_was_not_reported_is_a_failure(review):
    alerts = tuple(alert for alert in review.summary.alerts if alert.code != "tip_blocked")
    silent = replace(review, summary=replace(review.summary, alerts=alerts))
    with pytest.raises(NotCaughtError, match="did not report it"):
        verdict(silent, TRUTH)


def test_an_alert_before_the_tip_clogged_is_a_failure(review):
    late = {**TRUTH, "faults": [{**TRUTH["faults"][0], "at_s": 600.0}]}
    with pytest.raises(NotCaughtError, match="before tip 3 was clogged"):
        verdict(review, late)


def test_an_end_before_the_tip_clogged_is_a_failure(review):
    with pytest.raises(NotCaughtError, match="ended before"):
        verdict(review, {**TRUTH, "faults": []})


def test_the_program_that_runs_is_the_one_that_is_named(tmp_path):
    line = typed("--version")
    done = subprocess.run(
        line,
        shell=True,
        capture_output=True,
        text=True,
        check=False,
        env=os.environ,
        cwd=Path.cwd(),
    )
    assert done.returncode == 0, done.stderr
