"""`flowlog simulate`: a port that looks like a board, a recording, standard output."""

import json
import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest
import serial
from click.testing import CliRunner

from flowlog.cli import main
from flowlog.link.recording import read_recording
from flowlog.simulator.live import lines
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import find_scenario, read_scenario, shipped
from flowlog.wire.decode import Decoder
from flowlog.wire.encode import encode_alarm, encode_hello_request
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples


def _expected(name):
    run = simulate(read_scenario(find_scenario(name)))
    return run, b"".join(line for _, line in lines(run))


def _invoke(*arguments):
    return CliRunner().invoke(main, ["simulate", *map(str, arguments)])


@contextmanager
def _running(*arguments):
    command = [sys.executable, "-m", "flowlog", "simulate", *map(str, arguments)]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


def _read_until(port, decoder, done, seconds=20.0):
    """Items from the port until `done(items)`; fails after `seconds`, whatever the load."""
    items, give_up = [], time.monotonic() + seconds
    while not done(items):
        assert time.monotonic() < give_up, f"nothing after {seconds} s: {items[-3:]}"
        items += decoder.feed(port.read(port.in_waiting or 1)).items
    return items


def test_lists_the_scenarios_that_come_along():
    result = _invoke("--list")
    assert result.exit_code == 0
    assert result.output.split() == shipped()


def test_a_recording_holds_exactly_the_simulated_bytes_and_the_truth_is_told(tmp_path):
    path, truth = tmp_path / "run.flog", tmp_path / "truth.json"
    result = _invoke("loose-wire", "--to", path, "--truth", truth)
    assert result.exit_code == 0, result.output
    header, data = read_recording(path)
    run, expected = _expected("loose-wire")
    assert b"".join(data) == expected
    assert header["rig"] == "Demo cart" and "loose-wire" in header["notes"]
    told = json.loads(truth.read_text())
    assert told["volume_m3"] == pytest.approx(run.truth.total_volume_m3)
    assert [fault["kind"] for fault in told["faults"]][:2] == ["corrupt lines", "gauge open"]


def test_standard_output_is_the_bytes_and_nothing_else():
    command = [sys.executable, "-m", "flowlog", "simulate", "healthy", "--to", "-"]
    done = subprocess.run(command, capture_output=True, check=True, timeout=60)
    assert done.stdout == _expected("healthy")[1]
    assert json.loads(done.stderr)["scenario"] == "healthy"


def test_another_seed_gives_another_run(tmp_path):
    _invoke("healthy", "--to", tmp_path / "a.flog", "--seed", 5, "--truth", tmp_path / "t")
    _, data = read_recording(tmp_path / "a.flog")
    assert b"".join(data) != _expected("healthy")[1]


@pytest.mark.parametrize(
    ("arguments", "wanted"),
    [
        (["nowhere"], "nowhere: there is no such file"),
        ([], "which scenario?"),
        (["healthy", "--to", "-", "--hold"], "--to pty only"),
        (["healthy", "--pace", "quick"], "'quick' is not real, max, or a number"),
        (["healthy", "--pace", "0"], "'0' is not real, max, or a number"),
        (["healthy", "--to", "/nowhere/x.flog"], "/nowhere/x.flog"),
    ],
)
def test_a_wrong_command_is_one_plain_fault(arguments, wanted):
    result = _invoke(*arguments)
    assert result.exit_code == 2
    assert wanted in result.output
    assert "Traceback" not in result.output


def test_a_recording_is_never_overwritten(tmp_path):
    path = tmp_path / "run.flog"
    path.write_text("mine")
    result = _invoke("healthy", "--to", path)
    assert result.exit_code == 2 and "exists already" in result.output
    assert path.read_text() == "mine"


def test_the_port_answers_takes_alarms_and_ends_on_request(tmp_path):
    link, truth = tmp_path / "board", tmp_path / "truth.json"
    with _running("healthy", "--pace", 20, "--link", link, "--truth", truth, "--wait") as process:
        assert process.stdout.readline().strip() == str(link)
        with serial.Serial(str(link), 115200, timeout=0.2) as port:
            decoder = Decoder()
            items = _read_until(port, decoder, lambda found: len(found) >= 3)
            assert isinstance(items[0], Hello) and items[0].seq == 0  # it waited for us
            assert isinstance(items[1], Samples)
            port.write(encode_hello_request() + encode_alarm(2, 1))

            def answered(found):
                return any(isinstance(item, Hello) and item.seq % 600 for item in found)

            _read_until(port, decoder, answered)
            assert not decoder.counts.faults
        process.send_signal(signal.SIGTERM)
        _, told = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "asked for a hello" in told and "lamp fast, buzzer slow" in told
    assert not os.path.lexists(link)
    ended = json.loads(truth.read_text())
    assert 0 < ended["seconds"] < 605


def test_as_fast_as_it_goes_nothing_is_lost_on_the_port(tmp_path):
    link = tmp_path / "board"
    arguments = ("healthy", "--pace", "max", "--link", link, "--wait", "--hold", "--truth")
    with _running(*arguments, tmp_path / "truth.json") as process:
        process.stdout.readline()
        run, expected = _expected("healthy")
        got = b""
        with serial.Serial(str(link), 115200, timeout=0.2) as port:
            give_up = time.monotonic() + 30
            while len(got) < len(expected) and time.monotonic() < give_up:
                got += port.read(port.in_waiting or 1)
            assert got == expected
            # Held open after the end, and still listening.
            port.write(encode_hello_request())
            items = _read_until(port, Decoder(), bool)
            assert isinstance(items[0], Hello) and items[0].seq == len(run.samples)
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)
    assert process.returncode == 0


def test_a_board_that_resets_when_its_port_is_opened(tmp_path):
    link = tmp_path / "board"
    with _running("healthy", "--pace", 10, "--link", link, "--reset-on-open") as process:
        process.stdout.readline()
        boots = []
        for wanted in (2, 3):
            with serial.Serial(str(link), 115200, timeout=0.2) as port:

                def rebooted(found, boot=wanted):
                    return any(isinstance(item, Hello) and item.boot == boot for item in found)

                items = _read_until(port, Decoder(), rebooted)
                boots += [item.reset for item in items if isinstance(item, Hello)][-1:]
        assert boots == ["external", "external"]
        process.send_signal(signal.SIGTERM)
        _, told = process.communicate(timeout=20)
    assert told.count("reset: the port was opened") == 2
