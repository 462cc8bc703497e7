"""`flowlog demo`: real processes, from the simulated board to the review."""

from __future__ import annotations

import os
import re
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from flowlog.rig.reader import read_rig
from flowlog.store.archive import Archive

FLOWLOG = [sys.executable, "-m", "flowlog"]
PROJECT = Path(__file__).parents[2]


def environ(**more: str) -> dict[str, str]:
    """As a person's, but with this checkout to be found from any folder."""
    return {**os.environ, "PYTHONPATH": str(PROJECT), "PYTHONUNBUFFERED": "1", **more}


def running_in(folder: Path) -> list[str]:
    """Command lines of processes that have to do with a folder."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal():
            try:
                words = (entry / "cmdline").read_bytes().decode("utf-8", "replace")
            except OSError:
                continue
            if str(folder) in words and "flowlog" in words:
                found.append(words.replace("\0", " "))
    return found


def serves(command: list[str], folder: Path) -> None:
    """It says where its pages are, and ends in order when it is stopped."""
    log = folder / "serve.log"
    with log.open("wb") as out:
        process = subprocess.Popen(
            command, cwd=folder, env=environ(), stdout=out, stderr=subprocess.STDOUT
        )
    try:
        end = time.monotonic() + 60
        while "http://" not in log.read_text(encoding="utf-8"):
            assert process.poll() is None, log.read_text(encoding="utf-8")
            assert time.monotonic() < end
            time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0, log.read_text(encoding="utf-8")
    finally:
        process.kill()


@pytest.mark.slow
def test_it_catches_the_tip_ends_by_itself_and_prints_commands_that_work(tmp_path):
    done = subprocess.run(
        [*FLOWLOG, "demo"], cwd=tmp_path, env=environ(), capture_output=True, text=True,
        timeout=110, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stderr == ""
    assert "ALERT Tip blocked" in done.stdout
    assert re.search(r"Caught: in the simulation tip 3 clogged 8 min 10 s", done.stdout)
    assert "Mill Lane 9" in done.stdout
    assert "\x1b" not in done.stdout
    assert running_in(tmp_path) == []

    folder = tmp_path / "flowlog-demo"
    assert str(folder) in done.stdout
    with Archive.open(folder / "data") as archive:
        (route,) = archive.routes()
        assert route.ended_wall_us is not None
        assert len(archive.raw(route.id)) == 8570

    after = done.stdout.split("What to try next:\n")[1]
    commands = [line.strip() for line in after.strip().split("\n")]
    assert len(commands) == 6
    for line in commands:
        if " serve " in line:
            # It goes on until it is stopped; on a port of its own, for others may use the usual.
            serves([*shlex.split(line), "--listen", "127.0.0.1:0"], tmp_path)
            continue
        tried = subprocess.run(
            shlex.split(line), cwd=tmp_path, env=environ(), capture_output=True, text=True,
            timeout=60, check=False,
        )  # fmt: skip
        assert tried.returncode == 0, line + tried.stderr
    assert (folder / "readings.csv").read_text().count("\n") > 800


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_ends_all_its_processes(tmp_path, number):
    process = subprocess.Popen(
        [*FLOWLOG, "demo", "--folder", str(tmp_path / "d")],
        env=environ(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    for line in process.stdout:
        if "| LIVE |" in line:
            break
    assert len(running_in(tmp_path)) == 3
    process.send_signal(number)
    _, complaints = process.communicate(timeout=30)
    assert process.returncode != 0
    assert "Traceback" not in complaints
    assert running_in(tmp_path) == []


def test_a_process_that_fails_ends_it_with_1_and_a_plain_reason(tmp_path):
    # The daemon cannot make its data folder where a file stands.
    script = (
        "from pathlib import Path\n"
        "import flowlog.demo.setting as setting\n"
        "real = setting.write_rig\n"
        "def write(where, broker):\n"
        "    real(where, broker)\n"
        "    where.data.write_text('')\n"
        "setting.write_rig = write\n"
        "from flowlog.cli import main\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "demo", "--folder", str(tmp_path / "d")],
        env=environ(), capture_output=True, text=True, timeout=100, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "the demonstration failed" in done.stderr
    assert "Traceback" not in done.stderr
    assert running_in(tmp_path) == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--pace", "warp"], "is not real, or a number"),
        (["--broker", "host:x"], "HOST:PORT"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_starts(tmp_path, words, told):
    done = subprocess.run(
        [*FLOWLOG, "demo", *words], cwd=tmp_path, env=environ(), capture_output=True, text=True,
        timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
@pytest.mark.broker
def test_with_a_broker_it_publishes_the_alert(tmp_path, tool):
    import socket

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    config = tmp_path / "broker.conf"
    config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    broker = subprocess.Popen(
        [tool("mosquitto"), "-c", str(config)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    import paho.mqtt.client as mqtt

    heard: list[str] = []
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, message: heard.append(
        f"{message.topic} {message.payload.decode()}"
    )
    client.on_connect = lambda client, *_: client.subscribe("flowlog/#", qos=1)
    try:
        end = time.monotonic() + 10
        while time.monotonic() < end:
            try:
                client.connect("127.0.0.1", port)
                break
            except OSError:
                time.sleep(0.1)
        client.loop_start()
        done = subprocess.run(
            [*FLOWLOG, "demo", "--folder", str(tmp_path / "d")],
            env=environ(FLOWLOG_BROKER=f"127.0.0.1:{port}"), capture_output=True, text=True,
            timeout=110, check=False,
        )  # fmt: skip
        time.sleep(0.5)
    finally:
        client.loop_stop()
        client.disconnect()
        broker.terminate()
        broker.wait(10)
    assert done.returncode == 0, done.stdout + done.stderr
    assert read_rig(tmp_path / "d" / "rig.toml", {}).broker.port == port
    assert any("/alert " in message and "tip_blocked" in message for message in heard)
