"""`flowlog calibrate` as a person uses it: one command a step, and in a real terminal."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import signal
import sqlite3
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.bench_board import BenchBoard

from flowlog.calibrating.inuse import load
from flowlog.cli import main
from flowlog.link.recording import RecordingWriter
from flowlog.rig.reader import read_rig
from flowlog.wire.encode import encode_hello, encode_sample
from flowlog.wire.records import Hello

RIG = """
[rig]
name = "Meadow cart"
units = "metric"
[boom]
tips = 4
spacing = "50 cm"
tip = "1.6 L/min at 3 bar"
pressure = ["1.5 bar", "4 bar"]
[work]
rate = "400 L/ha"
speed = "4.6 km/h"
[meter]
pulses = "450 pulse/L"
range = ["2 L/min", "30 L/min"]
[gauge]
span = "10 bar"
zero = "0.5 V"
full = "4.5 V"
supply = "5 V"
[board]
port = "{port}"
"""
K = 4 * 1.6e-3 / 60 / 3e5**0.5
"""Flow of the four tips per root of pressure."""


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    path = tmp_path / "meadow.toml"
    path.write_text(RIG.format(port=tmp_path / "board"))
    return path


@pytest.fixture
def run(rig_file: Path, tmp_path: Path) -> Callable[..., tuple[int, str]]:
    def call(*arguments: str) -> tuple[int, str]:
        environ = {"FLOWLOG_DATA": str(tmp_path / "data"), "COLUMNS": "80"}
        result = CliRunner(env=environ).invoke(main, ["calibrate", *arguments])
        assert result.exception is None or isinstance(result.exception, SystemExit), result.output
        return result.exit_code, result.output

    return call


COURSE = ("course", "--length", "50 m", "--time", "39.1 s", "--time", "38.8 s")


def rows(tmp_path: Path) -> list[tuple[str, str]]:
    with sqlite3.connect(tmp_path / "data" / "meadow-cart" / "flowlog.db") as db:
        found = db.execute("SELECT kind, made_by FROM calibrations ORDER BY id").fetchall()
    db.close()
    return found


def test_a_step_in_one_command_is_stored_only_with_a_yes(run, rig_file, tmp_path) -> None:
    code, text = run(str(rig_file), *COURSE)
    assert code == 0
    assert "speed 4.62 km/h" in text
    assert "Not stored" in text
    assert not (tmp_path / "data").exists()
    code, text = run(str(rig_file), *COURSE, "--yes", "--by", "Ann")
    assert (code, rows(tmp_path)) == (0, [("course", "Ann")])
    code, text = run(str(rig_file), "--yes", *COURSE)
    assert len(rows(tmp_path)) == 2


def test_all_steps_from_one_file(run, rig_file, tmp_path) -> None:
    file = tmp_path / "answers.toml"
    file.write_text(
        """
[course]
length = "50 m"
times = ["39.1", "38.8 s", "0:39.0"]
[catch]
pressure = "3 bar"
time = "30 s"
volumes = ["800 mL", "805 mL", "none", "790 mL"]
tips = [{ tip = 1, volume = "801 mL" }]
[meter]
runs = [
  { caught = "18.9 kg", pulses = 8865, time = "170 s", water = "18 C" },
  { caught = "18.8 kg", pulses = 8818, time = "169 s", water = "18 C" },
  { caught = "19.0 L", pulses = 8890, time = "171 s" },
]
[gauge]
points = [
  { reference = "0 bar", code = 109.2 },
  { reference = "2 bar", code = 272.9 },
  { reference = "4 bar", code = 436.9 },
]
[baseline]
steps = [
  { pressure = "1.5 bar", flow = "4.525 L/min", time = "60 s" },
  { pressure = "2.5 bar", flow = "5.842 L/min", time = "60 s" },
  { pressure = "4 bar", flow = "7.390 L/min", time = "60 s" },
]
"""
    )
    code, text = run(str(rig_file), "--from", str(file), "--yes", "--by", "Ann", "--note", "cold")
    assert code == 0, text
    assert [kind for kind, _ in rows(tmp_path)] == [
        "course", "catch", "meter", "gauge", "baseline"
    ]  # fmt: skip
    code, text = run(str(rig_file), "history")
    assert code == 0
    assert len(re.findall(r"\*", text)) == 5
    assert "by" in text
    code, text = run("history")
    assert "Meadow cart: 5 calibrations" in text
    code, text = run("show", "3")
    assert "cold" in text
    assert "how sure, and why" in text
    code, text = run("show")
    assert "Number 5. Baseline" in text


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "no step in it"),
        ("[corse]\n", "course"),
        ("course = 3\n", "must be a table"),
        ('[course]\nlength = "50 m"\n', "times"),
        ('[course]\nlength = "50 L"\ntimes = ["39"]\n', "is a volume, not a length"),
        ('[course]\nlength = "50 m"\ntimes = ["0"]\n', "more than zero"),
        ('[course]\nlength = "50 m"\ntime = ["39"]\n', "times"),
        ('[catch]\nvolumes = ["800 mL"]\n', "time is missing"),
        ('[catch]\ntime = "30 s"\nvolumes = ["abc"]\n', "tip 1"),
        ("[meter]\nruns = 3\n", "list of tables"),
        ('[meter]\nruns = [{ caught = "5 L", pulses = "x", time = "3 s" }]\n', "not a number"),
        ('[gauge]\npoints = [{ reference = "-1 bar", code = 3 }]\n', "zero or more"),
        ('[baseline]\nrecording = "none.flog"\n', "cannot be read"),
        ('[capped]\nrecording = "none.flog"\n', "cannot be read"),
        ("[capped]\nsteps = 3\n", "unknown key steps"),
        ("[capped]\n", "recording is missing"),
        ("[course\n", "TOML"),
    ],
)
def test_a_wrong_file_is_refused_in_one_line_with_its_place(
    run, rig_file, tmp_path, content: str, said: str
) -> None:
    file = tmp_path / "answers.toml"
    file.write_text(content)
    code, text = run(str(rig_file), "--from", str(file), "--yes")
    assert code == 2
    assert said in text
    assert len(text.strip().splitlines()) == 1
    assert not (tmp_path / "data").exists()


def test_a_catch_is_drawn(run, rig_file, tmp_path) -> None:
    picture = tmp_path / "tips.svg"
    volumes = [
        part for text in ("800 mL", "910 mL", "700 mL", "none") for part in ("--volume", text)
    ]
    code, text = run(
        str(rig_file), "catch", "--pressure", "3 bar", "--time", "30 s", *volumes,
        "--svg", str(picture), "--yes",
    )  # fmt: skip
    assert code == 0, text
    assert "REPLACE" in text
    assert "CLEAN" in text
    assert "NOT CAUGHT" in text
    drawn = ET.fromstring(picture.read_text())
    bars = [part for part in drawn.iter() if part.get("class") == "tip"]
    assert len(bars) == 4
    assert "tip 2: REPLACE" in picture.read_text()


def test_two_are_compared_and_two_kinds_are_not(run, rig_file) -> None:
    run(str(rig_file), *COURSE, "--yes")
    run(str(rig_file), "course", "--length", "50 m", "--time", "30.1", "--time", "30.3", "--yes")
    run(str(rig_file), "gauge", "--point", "0 bar,109", "--point", "4 bar,436", "--yes")
    code, text = run(str(rig_file), "history", "1", "2")
    assert code == 0
    assert "+29." in text
    assert "yes" in text
    code, text = run(str(rig_file), "history", "1", "3")
    assert code == 2
    assert "two of one kind" in text
    code, text = run(str(rig_file), "show", "9")
    assert code == 2
    assert "no calibration number 9" in text


def test_nonsense_of_the_meter_is_refused_with_the_likely_reason(run, rig_file) -> None:
    code, text = run(str(rig_file), "meter", "--run", "10 L,9000,95 s", "--yes")
    assert code == 2
    assert "both of its edges" in text
    code, text = run(str(rig_file), "meter", "--run", "10 L,9", "--yes")
    assert code == 2
    assert "CAUGHT,PULSES,TIME" in text


def test_a_run_is_counted_from_a_recording(run, rig_file, tmp_path) -> None:
    path = tmp_path / "run.flog"
    with RecordingWriter(path, {"rig": "Meadow cart"}) as out:
        out.write(encode_hello(Hello(1, 0, 1, "x", "y", "power", 100, 10, "FP")))
        turned = 0.0
        for seq in range(600):
            turned += 4.68 if 50 <= seq < 450 else 0.0
            t_us = (seq + 1) * 100_000
            out.write(
                encode_sample([1, seq, t_us, int(turned), t_us, 30000, 100, 299, 301, -1, -1, -1])
            )
    code, text = run(str(rig_file), "meter", "--recording", f"4.0 L,{path}", "--yes")
    assert code == 0, text
    assert "468 pulse/L" in text
    code, text = run(str(rig_file), "gauge", "--point", "0 bar,109", "--point", f"2.4 bar,{path}")
    assert code == 0, text
    assert "the span by" in text


def capped_recording(path: Path, order: tuple[bool, ...] = (False, True, False)) -> Path:
    """The rig of four tips, with a stiff supply: a capped tip raises the pressure by a tenth of
    the fall."""
    with RecordingWriter(path, {"rig": "Meadow cart"}) as out:
        out.write(encode_hello(Hello(1, 0, 1, "x", "y", "power", 100, 10, "FP")))
        turned, seq = 0.0, 0
        for capped in order:
            bar = 3.0 * (4 / 3) ** 0.1 if capped else 3.0
            flow = (0.75 if capped else 1.0) * K * (bar * 1e5) ** 0.5
            code = round((0.1 + 0.8 * bar / 10) * 1024 * 100)
            for tick in range(900):
                spraying = 300 <= tick < 640
                turned += flow * 45e3 if spraying else 0.0
                t_us = (seq + 1) * 100_000
                low = code // 100 if spraying else 102
                total = code if spraying else 10240
                out.write(
                    encode_sample(
                        [1, seq, t_us, int(turned), t_us, total, 100, low, low + 1, -1, -1, -1]
                    )
                )
                seq += 1
    return path


def test_a_capped_tip_is_read_from_a_recording_and_kept(run, rig_file, tmp_path) -> None:
    path = capped_recording(tmp_path / "capped.flog")
    code, text = run(str(rig_file), "capped", "--recording", str(path), "--yes", "--by", "Ann")
    assert code == 0, text
    told = " ".join(text.split())
    assert re.search(r"One tip of 4 capped: flowlog sees (0.99|1.00|1.01) of a tip missing", told)
    assert "The pressure rises by 2.9 %" in told
    assert "a blocked tip and a flow sensor that reads low can" in told
    assert "be told apart on this rig" in told
    assert rows(tmp_path) == [("capped", "Ann")]
    assert load(tmp_path / "data" / "meadow-cart", read_rig(rig_file)).rig.answer is not None
    code, text = run(str(rig_file), "history", "--kind", "capped")
    assert code == 0
    assert "capped*" in text
    code, text = run(str(rig_file), "show", "1")
    assert "Capped tip: how the pressure answers" in text
    assert "wander of the pressure between" in text
    assert str(path) in "".join(text.split())


def test_two_capped_tips_are_compared(run, rig_file, tmp_path) -> None:
    path = capped_recording(tmp_path / "capped.flog")
    for _ in range(2):
        run(str(rig_file), "capped", "--recording", str(path), "--yes")
    code, text = run(str(rig_file), "history", "1", "2")
    assert code == 0
    assert "missing tips" in text
    assert "+0.00" in text


@pytest.mark.parametrize(
    ("order", "said"),
    [
        ((False,), "1 spraying (three are wanted"),
        ((False, False, False), "the flow did not fall"),
        ((False, True), "the sprayings were all tips, one capped"),
    ],
)
def test_what_is_no_capped_tip_check_is_refused(run, rig_file, tmp_path, order, said) -> None:
    path = capped_recording(tmp_path / "capped.flog", order)
    code, text = run(str(rig_file), "capped", "--recording", str(path), "--yes")
    assert code == 2
    assert said in text
    assert not (tmp_path / "data").exists()


def test_a_rig_without_its_file_is_looked_at_and_not_calibrated(run, rig_file) -> None:
    run(str(rig_file), *COURSE, "--yes")
    code, text = run("-", *COURSE, "--yes")
    assert code == 2
    assert "which rig" in text
    code, text = run("history")
    assert code == 0
    assert "1 calibration" in text


def test_without_a_terminal_there_are_no_questions(run, rig_file) -> None:
    code, text = run(str(rig_file))
    assert code == 2
    assert "need a terminal" in text


# In a real terminal.


class Person:
    """`flowlog calibrate` on a pseudo-terminal of 80 x 24, and somebody who types."""

    def __init__(self, rig_file: Path, data: Path, *step: str) -> None:
        self._pid, self._fd = pty.fork()
        if self._pid == 0:  # pragma: no cover - the child
            os.environ.update(FLOWLOG_DATA=str(data), COLUMNS="80", LINES="24", TERM="xterm")
            command = [sys.executable, "-m", "flowlog", "calibrate", str(rig_file), *step]
            os.execv(sys.executable, command)
        self.text = ""
        self._read_to = 0

    def see(self, wanted: str, seconds: float = 30.0) -> None:
        """Wait until something new is on the screen."""
        end = time.monotonic() + seconds
        while wanted not in self.text[self._read_to :]:
            if time.monotonic() > end:
                pytest.fail(f"waited for {wanted!r}, saw:\n{self.text[self._read_to :]}")
            ready, _, _ = select.select([self._fd], [], [], 0.2)
            if ready:
                try:
                    self.text += os.read(self._fd, 4096).decode("utf-8", "replace")
                except OSError:
                    pytest.fail(f"ended before {wanted!r}:\n{self.text[self._read_to :]}")
        self._read_to = self.text.index(wanted, self._read_to) + len(wanted)

    def write(self, line: str) -> None:
        os.write(self._fd, f"{line}\n".encode())

    def answer(self, question: str, *lines: str) -> None:
        for line in lines:
            self.see(question)
            self.write(line)

    def leave(self) -> None:
        os.write(self._fd, b"\x03")

    def end(self) -> int:
        """Wait for the end; the exit code."""
        end = time.monotonic() + 20
        while time.monotonic() < end:
            ready, _, _ = select.select([self._fd], [], [], 0.1)
            if ready:
                try:
                    self.text += os.read(self._fd, 4096).decode("utf-8", "replace")
                except OSError:
                    break
        _, status = os.waitpid(self._pid, 0)
        os.close(self._fd)
        return os.waitstatus_to_exitcode(status)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[BenchBoard]:
    board = BenchBoard(tmp_path / "board", pulses_per_m3=468e3, zero_share=0.1066, speed=20.0)
    yield board
    board.close()


def pressure(bench: BenchBoard, bar: float) -> None:
    bench.set(K * (bar * 1e5) ** 0.5, bar * 1e5)


@pytest.mark.slow
def test_a_newcomer_calibrates_in_metric_leaves_half_way_and_goes_on(
    rig_file, tmp_path, bench
) -> None:
    data = tmp_path / "data"
    person = Person(rig_file, data)
    person.answer("Who calibrates", "Ann")
    person.answer("Water temperature", "cold", "18 C")
    person.answer("Do this step?", "")
    person.answer("measured with the tape", "50 L", "500 m", "")
    person.answer("Run 1, time", "abc", "390", "39.1")
    person.answer("Run 2, time", "0", "38.8")
    person.answer("Keep this?", "y")
    person.answer("Do this step?", "")
    person.see("clean water only")
    person.answer("Pressure at the boom", "30", "3 bar")
    person.answer("Time of each catch", "30 s")
    person.answer("Tip 1 of 4", "8000", "800")
    person.answer("Tip 2 of 4", "805")
    person.see("Tip 3 of 4")
    person.leave()
    person.see("your answers are kept")
    assert person.end() == 0
    assert not list(data.rglob("flowlog.db"))

    person = Person(rig_file, data)
    person.answer("Go on with it?", "")
    person.see("805 mL")
    person.answer("Tip 3 of 4", "850")
    person.answer("Tip 4 of 4", "798")
    person.answer("Keep this?", "")
    person.answer("Do this step?", "")
    person.answer("Read the board live", "")
    person.answer("different flows", "")
    for _ in range(3):
        person.see("open when told")
        person.write("")
        person.see("open the boom")
        before = bench.volume_m3
        pressure(bench, 3.0)
        time.sleep(3.0)
        bench.set(0.0, 0.0)
        person.see("weight or volume caught")
        person.write(f"{1000 * (bench.volume_m3 - before):.3f} L")
    person.see("pulse/L")
    person.answer("Keep this?", "")
    person.answer("Do this step?", "")
    person.answer("Read the board live", "")
    person.answer("Zero, vented", "")
    for number, bar in enumerate((1.5, 2.5, 4.0), 1):
        person.see(f"Pressure {number} of 3")
        pressure(bench, bar)
        time.sleep(0.3)
        person.write("")
        person.answer("the reference gauge reads", "abc", f"{bar * 10} bar", f"{bar} bar")
    person.answer("Another pressure?", "")
    person.answer("Keep this?", "")
    person.answer("Do this step?", "")
    person.answer("Read the board live", "")
    person.see("Boom shut?")
    bench.set(0.0, 0.0)
    time.sleep(0.3)
    person.write("")
    for bar in (1.5, 2.5, 4.0):
        time.sleep(0.5)
        pressure(bench, bar)
        time.sleep(4.0)
    person.answer("Keep this?", "")
    person.answer("Do this step?", "no")
    person.see("To be stored")
    person.answer("Store these 5 results", "maybe", "yes")
    person.see("Stored, by number")
    assert person.end() == 0
    assert [kind for kind, _ in rows(tmp_path)] == [
        "course", "catch", "meter", "gauge", "baseline"
    ]  # fmt: skip
    assert not list(data.rglob("calibration-draft.json"))
    told = subprocess.run(
        [sys.executable, "-m", "flowlog", "rig", str(rig_file)],
        env={**os.environ, "FLOWLOG_DATA": str(data)}, capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert "Calibrations in use" in told
    with sqlite3.connect(data / "meadow-cart" / "flowlog.db") as db:
        query = 'SELECT "values" FROM calibrations WHERE kind = ?'
        meter, gauge = (
            json.loads(db.execute(query, (kind,)).fetchone()[0]) for kind in ("meter", "gauge")
        )
    db.close()
    assert meter["pulses_per_m3"] == pytest.approx(468e3, rel=0.005)
    assert gauge["zero_share"] == pytest.approx(0.1066, abs=0.0005)


def test_a_tip_is_capped_in_a_real_terminal_and_the_rig_has_its_answer(
    rig_file, tmp_path, bench
) -> None:
    data = tmp_path / "data"
    person = Person(rig_file, data, "capped")
    person.answer("Who calibrates", "Ann")
    person.answer("Water temperature", "")
    person.see("brake set")
    person.answer("Read the board live", "")
    # All tips at 3 bar; with one of four capped the pressure answers by a half of the fall.
    capped_bar = 3.0 * (4 / 3) ** 0.5
    for number in (1, 2, 3):
        if number > 1:
            person.see("pressure off")
        person.see("Enter, then open it")
        time.sleep(0.3)
        person.write("")
        person.see("open the boom")
        if number == 2:
            bench.set(0.75 * K * (capped_bar * 1e5) ** 0.5, capped_bar * 1e5)
        else:
            pressure(bench, 3.0)
        person.see("with one tip capped" if number == 2 else "with all tips")
        bench.set(0.0, 0.0)
    person.answer("Two more sprayings", "done")
    person.see("One tip of 4 capped: flowlog sees")
    person.answer("Keep this?", "yes")
    person.answer("Store this result", "yes")
    person.see("Stored, by number")
    assert person.end() == 0
    assert rows(tmp_path) == [("capped", "Ann")]
    answer = load(data / "meadow-cart", read_rig(rig_file)).rig.answer
    assert answer is not None
    assert answer.share == pytest.approx(0.5, abs=0.03)


@pytest.mark.slow
def test_while_a_daemon_has_the_port_its_samples_are_read_and_it_stores(
    rig_file, tmp_path, bench
) -> None:
    data = tmp_path / "data"
    daemon = subprocess.Popen(
        [sys.executable, "-m", "flowlog", "run", str(rig_file)],
        env={**os.environ, "FLOWLOG_DATA": str(data)}, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        end = time.monotonic() + 20
        while not list(data.rglob("flowlog.db")) and time.monotonic() < end:
            time.sleep(0.1)
        time.sleep(2.5)
        person = Person(rig_file, data)
        person.answer("Who calibrates", "")
        person.answer("Water temperature", "")
        person.answer("Do this step?", "no", "no", "no", "")
        person.answer("Read the board live", "")
        person.answer("Zero, vented", "")
        person.see("by the rig file", 30)
        person.see("Pressure 1 of 3")
        pressure(bench, 4.0)
        time.sleep(2.5)
        person.write("")
        person.answer("the reference gauge reads", "4 bar")
        person.see("Pressure 2 of 3")
        person.write("")
        person.answer("the reference gauge reads", "4 bar")
        person.see("Pressure 3 of 3")
        person.write("")
        person.answer("the reference gauge reads", "4 bar")
        person.answer("Another pressure?", "done")
        person.answer("Keep this?", "")
        person.answer("Do this step?", "no", "no")
        person.answer("Store this result", "yes")
        person.see("Given to the daemon")
        assert person.end() == 0
        end = time.monotonic() + 15
        while not rows(tmp_path) and time.monotonic() < end:
            time.sleep(0.1)
        assert [kind for kind, _ in rows(tmp_path)] == ["gauge"]
    finally:
        daemon.send_signal(signal.SIGTERM)
        daemon.wait(15)
        if daemon.stderr is not None:
            daemon.stderr.close()
