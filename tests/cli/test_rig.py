"""`flowlog rig` as a person at the keyboard sees it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from flowlog.cli import main

SHOWN = """\
North cart: the rig file is in order.

Boom and course
  Tips                             8 at 20 in
  Effective width                  13.33 ft
  Asked rate                       1.5 gal/1000 ft2
  Calibrated speed                 3.2 mph
  Course for 1000 ft2              75.0 ft
  Time on that course              16 s
  Water from one tip in that time  24 fl oz

Flow and pressure when all is well
  Boom flow                        5.63 gal/min
  Flow of each tip                 0.704 gal/min
  Pressure at the tips             31 psi, inside the tip's range 25 psi to 50 psi
  Rate at 25 psi, same speed       1.35 gal/1000 ft2
  Rate at 50 psi, same speed       1.91 gal/1000 ft2
  One tip blocked                  -12.5 % in the boom's conductance

Signals
  Meter at the boom flow           159.9 pulses/s, inside its range 0.528 gal/min to 7.93 gal/min
  Meter at most                    225 pulses/s
  ADC code without pressure        102 of 1024
  ADC code at the pressure above   356
  ADC code at the gauge's span     922 (100 psi)
  One ADC code                     0.122 psi

Tank
  Volume                           60 gal
  A full tank sprays for           10.7 min
  and covers                       40000 ft2
  Low (8 gal) after                9.23 min

Data
  Folder                           /somewhere/north-cart
  Board                            /dev/ttyUSB0, 115200

No warnings.

CAUTION: The product's label is the law: its rate, its protective equipment, its weather limits.
CAUTION: Calibrate with clean water only, gloves on; release the pressure before opening a line.
"""


def run(*arguments: str | Path) -> tuple[int, str, str]:
    result = CliRunner(env={"FLOWLOG_DATA": "/somewhere"}).invoke(
        main, ["rig", *map(str, arguments)], catch_exceptions=False
    )
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    path = tmp_path / "rig.toml"
    assert run("--new", path)[0] == 0
    return path


def edit(path: Path, *changes: tuple[str, str]) -> None:
    text = path.read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path.write_text(text)


def test_a_new_rig_file_is_written_and_the_next_step_told(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    assert run("--new", path) == (
        0,
        f"Wrote {path}. Change it to suit your rig, then: flowlog rig {path}\n",
        "",
    )


def test_an_existing_file_is_never_overwritten(rig_file: Path) -> None:
    rig_file.write_text("mine")
    code, out, err = run("--new", rig_file)
    assert (code, out) == (2, "")
    assert err == f"{rig_file}: is there already and is left as it is (give a new name)\n"
    assert rig_file.read_text() == "mine"


def test_a_rig_in_order_is_shown_with_what_follows_and_the_cautions(rig_file: Path) -> None:
    assert run(rig_file) == (0, SHOWN, "")


def test_warnings_are_marked_by_a_word_and_do_not_fail(rig_file: Path) -> None:
    edit(rig_file, ('"3.2 mph"', '"4.2 mph"'))
    code, out, _ = run(rig_file)
    assert code == 0
    assert "Pressure at the tips             53.4 psi, 7 % above the tip's range" in out
    assert "\nWARNING: 1.5 gal/1000 ft2 at 4.2 mph needs 53.4 psi, 7 % above" in out
    assert "No warnings." not in out


def test_a_metric_rig_is_shown_in_metric_units(rig_file: Path) -> None:
    edit(rig_file, ('units = "us"', 'units = "metric"'))
    out = run(rig_file)[1]
    for value in ("8 at 50.8 cm", "4.06 m", "611 L/ha", "5.15 km/h", "21.32 L/min", "2.14 bar"):
        assert value in out
    for unit in ("psi", "gal", "mph", "ft2", "fl oz"):
        assert unit not in out


def test_pressure_beyond_the_gauge_is_said_in_place_of_a_code(rig_file: Path) -> None:
    edit(rig_file, ('"100 psi"', '"30 psi"'))
    assert "ADC code at the pressure above   beyond the gauge's span" in run(rig_file)[1]


def test_wheel_and_broker_are_shown_when_fitted(rig_file: Path) -> None:
    edit(
        rig_file,
        ("# [wheel] ", "[wheel]#"),
        ('# pulses = "12.5 pulse/ft"', 'pulses = "12.5 pulse/ft"'),
        ("# [broker] ", '[broker]\nhost = "192.0.2.7"\ntls = true\n#'),
    )
    out = run(rig_file)[1]
    # 3.2 x 88 / 60 ft/s x 12.5
    assert "Wheel at the calibrated speed    58.7 pulses/s" in out
    assert "192.0.2.7:8883 with TLS, topics under flowlog/1/north-cart/" in out


def test_a_password_that_others_can_read_is_warned_of_and_not_shown(rig_file: Path) -> None:
    edit(rig_file, ("# [broker] ", '[broker]\nhost = "h"\nuser = "u"\npassword = "S3cr3t"\n#'))
    assert "password" not in run(rig_file)[1]
    rig_file.chmod(0o644)
    code, out, _ = run(rig_file)
    assert code == 0
    assert "S3cr3t" not in out
    assert (
        f"WARNING: Other users of this machine can read the broker's password in {rig_file}. "
        f"Do: chmod 600 {rig_file}; or move it to FLOWLOG_BROKER_PASSWORD." in out
    )


def test_faults_are_plain_lines_on_stderr_and_exit_with_2(rig_file: Path) -> None:
    edit(rig_file, ("tips = 8", "tips = 0"), ('spacing = "20 in"', 'spacing = "20 inc"'))
    code, out, err = run(rig_file)
    assert (code, out) == (2, "")
    assert err == (
        f"{rig_file}:22: boom.tips: 0 is outside 1 to 60\n"
        f"{rig_file}:23: boom.spacing: '20 inc' is not a length (did you mean '20 in'?)\n"
    )


def test_the_installed_command_does_the_same(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "flowlog", "rig", str(tmp_path / "none.toml")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "there is no such file" in done.stderr
    assert "Traceback" not in done.stderr
