"""The firmware as a thing to build, change and flash; and the page that says how."""

from __future__ import annotations

import re
import subprocess

import numpy as np
import pytest
from support.emulated_board import FIRMWARE, build, pin

PAGE = (FIRMWARE.parent / "board.md").read_text("utf-8")
SETTINGS = (FIRMWARE / "settings.h").read_text("utf-8")


def numbers(report: str) -> tuple[int, int, int, int]:
    found = re.fullmatch(r"flash (\d+) of (\d+) bytes, RAM (\d+) of (\d+) bytes .*", report)
    assert found, report
    return tuple(map(int, found.groups()))


def test_it_builds_without_a_warning_and_is_as_small_as_the_page_says(program):
    flash, all_flash, ram, all_ram = numbers(program.report)
    print(program.report)
    assert flash < 5_000 < all_flash
    assert ram < 800 < all_ram
    assert "under 5 kB of flash and 0.8 kB of RAM" in PAGE


@pytest.mark.parametrize("gauge", [0, 1])
@pytest.mark.parametrize("valve", [0, 1])
@pytest.mark.parametrize("wheel", [0, 1])
def test_every_choice_of_what_is_fitted_builds_and_says_so(
    toolchain, power_on, tmp_path, gauge, valve, wheel
):
    built = build(tmp_path, f"-DGAUGE_FITTED={gauge} -DVALVE_FITTED={valve} -DWHEEL_FITTED={wheel}")
    board = power_on(built)
    lines = board.run_to(0.35).decode().split()
    fitted = "F" + "P" * gauge + "V" * valve + "W" * wheel
    assert lines[0].split("*")[0].endswith(f",{fitted}")
    fields = lines[2].split("*")[0].split(",")
    assert len(fields) == {0: 10, 1: 11}[valve] if not wheel else len(fields) == 13
    if not gauge:
        assert fields[6:10] == ["0", "1", "0", "0"]
    if wheel and not valve:
        assert fields[10] == ""


def test_the_stack_never_comes_near_the_variables(power_on, wheel_program):
    board = power_on(wheel_program)
    for name in ("METER", "WHEEL"):
        board.pulses(pin(name), 0.5 + np.arange(20_000) / 10_000.0, 50e-6)
    board.send(b"Q*AB24\nA,2,2*2C16\n" * 400, 0.5)
    board.run_to(4.0)
    free = board.unused_ram()
    print(f"{free} bytes of RAM never used")
    assert free > 800


@pytest.mark.parametrize("hertz", [4900, 6000])
def test_the_guard_lets_five_thousand_pulses_a_second_through_and_no_more(power_on, hertz):
    board = power_on()
    board.pulses(pin("METER"), 0.5 + np.arange(5 * hertz) / hertz, 0.5 / hertz)
    last = board.run_to(6.0).splitlines()[-1].split(b",")
    assert int(last[4]) == (5 * hertz if hertz < 5000 else 0)
    assert "5,000 pulses a second" in PAGE


def test_the_chip_is_named_in_one_place_only():
    (named,) = re.findall(r"^MCU = (\w+)$", (FIRMWARE / "Makefile").read_text(), re.MULTILINE)
    for path in FIRMWARE.parent.rglob("*"):
        if path.is_file() and path.name != "Makefile" and "build" not in path.parts:
            assert named not in path.read_text("utf-8").lower(), path


def test_pins_on_the_page_are_those_of_the_settings():
    rows = dict(re.findall(r"^\| `(\w+)` \| P([BCD]\d) \|", PAGE, re.MULTILINE))
    assert set(rows) == {
        "METER_PIN", "WHEEL_PIN", "VALVE_PIN", "LAMP_PIN", "BUZZER_PIN", "GAUGE_CHANNEL",
    }  # fmt: skip
    for name, place in rows.items():
        if name == "GAUGE_CHANNEL":
            assert f"#define GAUGE_CHANNEL {place[1]} " in SETTINGS
        else:
            assert pin(name.removesuffix("_PIN")) == (place[0], int(place[1]))


def test_every_setting_named_on_the_page_exists():
    for name in re.findall(r"`([A-Z]+(?:_[A-Z]+)+)`", PAGE):
        assert re.search(rf"\b{name}\b", SETTINGS), name


def test_the_commands_on_the_page_are_the_makefile_s(toolchain):
    for target in re.findall(r"^ +make( \w+)?", PAGE, re.MULTILINE):
        words = ["make", "-n", "-C", str(FIRMWARE), "PROGRAMMER=x", *target.split()]
        done = subprocess.run(words, check=False, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr


def test_the_fuses_on_the_page_are_those_in_the_program(program, tmp_path):
    out = tmp_path / "fuses"
    subprocess.run(
        ["avr-objcopy", "-O", "binary", "-j", ".fuse", "--set-section-flags",
         ".fuse=alloc,load", program.elf, out],
        check=True,
    )  # fmt: skip
    low, high, extended = out.read_bytes()
    assert f"low 0x{low:02X}, high 0x{high:02X}, extended 0x{extended:02X}" in PAGE
