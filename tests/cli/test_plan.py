"""`flowlog plan rate` and `flowlog plan tank` as a person at the keyboard sees them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from flowlog.cli import main
from flowlog.rig.template import write_template


def run(*arguments: str | Path) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["plan", *map(str, arguments)], catch_exceptions=False)
    return result.exit_code, result.stdout, result.stderr


def lines(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines()]


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    """The common example: 4 tips at 20 in, 2.00 gal/1000 ft2, 30 to 40 psi."""
    path = tmp_path / "rig.toml"
    write_template(path)
    text = path.read_text()
    for old, new in (
        ("tips = 8", "tips = 4"),
        ('"0.8 gal/min at 40 psi"', '"1.43 gal/min at 40 psi"'),
        ('["25 psi", "50 psi"]', '["30 psi", "40 psi"]'),
        ('rate = "1.5 gal/1000 ft2"', 'rate = "2 gal/1000 ft2"'),
        ('"3.2 mph"', '"4.87 mph"'),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    path.write_text(text)
    return path


def test_three_ways_to_halve_the_rate_and_pressure_refused_by_name(rig: Path) -> None:
    code, out, err = run("rate", rig, "--rate", "1 gal/1000 ft2", "--pressure", "40 psi")
    assert (code, err) == (0, "")
    found = lines(out)
    assert "1 tips, pressure size 08 31.1 psi 4.87 mph unclear unclear" in found
    assert "2 speed, pressure as now 30 psi 8.44 mph coarser unclear" in found
    assert "3 speed as now 40 psi 9.75 mph as now more" in found
    whole = " ".join(found)
    assert (
        "REFUSED pressure: 9.98 psi, a quarter of the pressure now, lies 67 % below the band "
        "30 to 40 psi." in whole
    )
    assert "Way 1: fit 4 tips of size 08, set 31.1 psi (-22 %), keep 4.87 mph." in found
    assert "would put 50 % LESS product on the ground" in whole
    assert "The label is the law" in whole
    assert "quoted from memory" in whole


def test_the_picture_shows_the_band_the_pressure_now_and_the_one_wanted(rig: Path) -> None:
    out = run("rate", rig, "--rate", "1 gal/1000 ft2")[1]
    bars = {line.split()[0]: line for line in out.splitlines() if "█" in line or "░" in line}
    assert "░" in bars["10.0"]
    assert bars["10.0"].endswith("wanted, refused")
    assert "█" in bars["30.0"]
    assert bars["40.0"].endswith("band ends, now")
    assert bars["10.0"].count("░") * 2 == pytest.approx(bars["40.0"].count("█"), abs=1)


@pytest.mark.parametrize("wanted", ["1 gal/1000 ft2", "1.8 gal/1000 ft2", "40 gal/1000 ft2"])
def test_no_line_is_wider_than_eighty_columns(rig: Path, wanted: str) -> None:
    out = run("rate", rig, "--rate", wanted)[1]
    assert max(len(line) for line in out.splitlines()) <= 80


def test_without_a_way_it_says_so_and_names_each_refusal(rig: Path) -> None:
    code, out, _ = run("rate", rig, "--rate", "40 gal/1000 ft2", "--slowest", "3 mph")
    assert code == 0
    whole = " ".join(lines(out))
    assert "NO WAY STAYS INSIDE THE BAND" in whole
    assert "pressure: 15967.2 psi, 400 times the pressure now, lies 39818 % above the band" in whole
    assert "tips: no size from 0050 to 20 gives it inside the band 30 to 40 psi" in whole
    assert "is slower than the slowest speed, 3 mph" in whole


def test_a_rate_that_is_there_needs_no_change(rig: Path) -> None:
    out = run("rate", rig, "--rate", "2 gal/1000 ft2")[1]
    assert "nothing needs to change" in out
    assert "REFUSED" not in out


def test_a_metric_rig_is_answered_in_metric_units(rig: Path) -> None:
    rig.write_text(rig.read_text().replace('units = "us"', 'units = "metric"'))
    out = run("rate", rig, "--rate", "400 L/ha")[1].split("CAUTION")[0]
    assert "bar" in out
    assert "km/h" in out
    for unit in ("psi", "gal", "mph"):
        assert unit not in out


def test_a_dense_carrier_is_respected_and_said(rig: Path) -> None:
    rig.write_text(rig.read_text().replace("carrier = 1.0", "carrier = 1.28"))
    out = " ".join(lines(run("rate", rig, "--rate", "1.8 gal/1000 ft2")[1]))
    # 2 gal at 39.9 psi with water: x 1.28 for the carrier, x 0.81 for nine tenths of the rate.
    assert "Now 2 gal/1000 ft2 at 51.1 psi" in out
    assert "pressure: 41.4 psi, 81 % of the pressure now, lies 3 % above the band" in out
    assert "with water the same setting gives 2.04 gal/1000 ft2" in out


@pytest.mark.parametrize(
    ("arguments", "fault"),
    [
        (("--rate", "10 in"), "--rate: '10 in' is a length, not a rate"),
        (("--rate", "0 gal/ac"), "--rate: '0 gal/ac' is outside 0.01 gal/1000 ft2 to 50"),
        (("--rate", "1 gal/ac", "--pressure", "0 psi"), "--pressure: '0 psi' is outside 1 psi"),
        (("--rate", "1 gal/ac", "--speed", "-3 mph"), "--speed: '-3 mph' is outside 0.2 mph"),
        (("--rate", "1 gal/ac", "--slowest", "6 mph", "--fastest", "5 mph"),
         "--slowest: '6 mph' is not less than --fastest, '5 mph'"),
    ],
)  # fmt: skip
def test_a_wrong_option_is_one_plain_line(
    rig: Path, arguments: tuple[str, ...], fault: str
) -> None:
    code, out, err = run("rate", rig, *arguments)
    assert (code, out) == (2, "")
    assert err.startswith(f"flowlog: {fault}")
    assert err.count("\n") == 1


def test_a_broken_rig_file_is_told_with_its_lines(rig: Path) -> None:
    rig.write_text(rig.read_text().replace("tips = 4", "tips = 0"))
    code, out, err = run("rate", rig, "--rate", "1 gal/ac")
    assert (code, out) == (2, "")
    assert err == f"{rig}:22: boom.tips: 0 is outside 1 to 60\n"


GOLDEN = (
    "tank", "--tank", "25 gal", "--rate", "1.5 gal/1000 ft2", "--area", "40000 ft2",
    "--product", "Weed killer: 3 fl oz/1000 ft2",
)  # fmt: skip


def test_a_tank_from_options_alone() -> None:
    code, out, err = run(*GOLDEN)
    assert (code, err) == (0, "")
    found = lines(out)
    assert "Spray needed 60 gal: 3 fills" in found
    assert "each Fill 3 Total" in found
    assert "Water 24.6 gal 9.84 gal 59.1 gal" in found
    assert "Weed killer 50 fl oz 20 fl oz 120 fl oz" in found
    assert "Covers 16667 ft2 6667 ft2 40000 ft2" in found
    assert "WARNING" not in out


def test_a_new_plan_is_written_read_and_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    assert run("tank", "--new", path) == (
        0,
        f"Wrote {path}. Change it to suit your job, then: flowlog plan tank {path}\n",
        "",
    )
    code, out, err = run("tank", path)
    assert (code, err) == (0, "")
    assert "Tuesday, north lawns" in out
    assert "0.5 gal of mix stays in tank and lines" in out
    before = path.read_text()
    code, out, err = run("tank", "--new", path)
    assert (code, out) == (2, "")
    assert err == f"{path}: is there already and is left as it is (give a new name)\n"
    assert path.read_text() == before


def test_options_win_over_the_plan_file(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    run("tank", "--new", path)
    out = run("tank", path, "--tank", "60 gal", "--unsprayable", "1 gal", "--area", "1 ac")[1]
    found = lines(out)
    assert "Area 1.000 ac" in found
    assert "Tank 60 gal, of which 1 gal cannot be sprayed" in found
    out = run("tank", path, "--product", "Powder: 2 lb/ac of 80 %", "--graduation", "1 wt oz")[1]
    assert "Weed killer" not in out
    assert "= 2.5 lb/ac" in out


def test_rounding_shows_the_rate_that_results_and_over_the_label_is_shouted(
    tmp_path: Path,
) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(
        '[plan]\nrate = "40 gal/ac"\ntank = "50 gal"\n'
        '[[stop]]\nname = "[red]Lot"\narea = "2 ac"\n'
        '[[product]]\nname = "Powder"\nactive = "2 lb/ac"\nstrength = "80 %"\n'
        'active_maximum = "1.5 lb/ac"\ngraduation = "3 wt oz"\n'
    )
    found = lines(run("tank", path)[1])
    assert "Powder 51 wt oz 30 wt oz 81 wt oz" in found
    assert "before rounding 50 wt oz 30 wt oz 80 wt oz" in found
    # 51 for 50 in 1.25 ac: 2 % over 2.5 lb/ac.
    assert "Powder 2 lb/ac a.i. 2.5 to 2.55 lb/ac +2.0 % 1.875 lb/ac" in found
    whole = " ".join(found)
    assert "2.5 lb/ac, is 33 % OVER the label's maximum, 1.875 lb/ac" in whole
    assert "[red]Lot 2.000 ac 80 gal fills 1 and 2, refill after 1.250 ac" in found


def test_the_rig_gives_rate_and_tank(rig: Path) -> None:
    code, out, err = run("tank", "--rig", rig, "--area", "0.5 ac")
    assert (code, err) == (0, "")
    assert "Spray rate 2 gal/1000 ft2" in lines(out)
    assert "Tank 60 gal" in lines(out)
    plan = rig.parent / "plan.toml"
    plan.write_text('[plan]\nrig = "rig.toml"\n[[stop]]\narea = "0.5 ac"\n')
    assert run("tank", plan)[1] == out


def calibrated(rig: Path, monkeypatch: pytest.MonkeyPatch, *, catch_s: float | None) -> None:
    """A course driven more slowly than the rig file says, and a catch of 64 fl oz a tip."""
    monkeypatch.setenv("FLOWLOG_DATA", str(rig.parent / "data"))
    text = '[course]\nlength = "150 ft"\ntimes = ["24 s", "24.1 s"]\n'
    if catch_s is not None:
        text += (
            f'[catch]\npressure = "40 psi"\ntime = "{catch_s} s"\n'
            'volumes = ["64 fl oz", "64 fl oz", "64 fl oz", "64 fl oz"]\n'
        )
    answers = rig.parent / "answers.toml"
    answers.write_text(text)
    words = ["calibrate", str(rig), "--from", str(answers), "--yes", "--by", "Ann"]
    result = CliRunner().invoke(main, words, catch_exceptions=False)
    assert result.exit_code == 0, result.output


def test_a_tank_lasts_as_long_as_the_calibrated_speed_says(rig: Path, monkeypatch) -> None:
    before = run("tank", "--rig", rig, "--area", "0.5 ac")[1]
    # 60 gal at 2 gal/1000 ft2 are 30,000 ft2, 0.689 ac; at 4.87 mph over 80 in that is 10 min 30 s.
    assert "One tank covers 0.689 ac in 10 min 30 s of spraying at 4.87 mph" in lines(before)
    calibrated(rig, monkeypatch, catch_s=None)
    code, out, err = run("tank", "--rig", rig, "--area", "0.5 ac")
    assert (code, err) == (0, "")
    # 150 ft in 24.05 s are 4.25 mph (150 / 24.05 * 3600 / 5280).
    assert "One tank covers 0.689 ac in 12 min 02 s of spraying at 4.25 mph" in lines(out)
    assert lines(out)[0].startswith("By course number 1 (4.25 mph")
    plan = rig.parent / "plan.toml"
    plan.write_text('[plan]\nrig = "rig.toml"\n[[stop]]\narea = "0.5 ac"\n')
    assert run("tank", plan)[1] == out


def test_a_boom_that_was_caught_off_the_plans_rate_is_warned_about(rig: Path, monkeypatch) -> None:
    # 4 x 64 fl oz in the 24.05 s of a course of 1000 ft2 are 2 gal/1000 ft2.
    calibrated(rig, monkeypatch, catch_s=24.05)
    fine = " ".join(run("tank", "--rig", rig, "--area", "0.5 ac")[1].split())
    assert "By catch number 2 (2 gal/1000 ft2" in fine
    assert "WARNING" not in fine
    asked = ("tank", "--rig", rig, "--rate", "1.8 gal/1000 ft2", "--area", "0.5 ac")
    over = " ".join(run(*asked)[1].split())
    assert "WARNING: The boom was caught at 2 gal/1000 ft2, 11 % over this plan's rate" in over
    assert "cover less ground and put more product on it" in over
    asked = ("tank", "--rig", rig, "--rate", "2.5 gal/1000 ft2", "--area", "0.5 ac")
    assert "20 % under this plan's rate" in " ".join(run(*asked)[1].split())


def test_a_catch_of_a_boom_with_other_tips_says_nothing_about_this_one(
    rig: Path, monkeypatch
) -> None:
    calibrated(rig, monkeypatch, catch_s=12.0)
    assert "WARNING" in run("tank", "--rig", rig, "--area", "0.5 ac")[1]
    rig.write_text(rig.read_text().replace("tips = 4", "tips = 5", 1))
    out = run("tank", "--rig", rig, "--area", "0.5 ac")[1]
    assert "catch number" not in out
    assert "WARNING" not in out


@pytest.mark.parametrize(
    ("arguments", "fault"),
    [
        ((), "give a plan file, or: --rate"),
        (("--new",), "--new needs the name of the file to write"),
        (("--rate", "1 gal/ac", "--area", "1 ac"), '--tank "25 gal"'),
        (("--area", "1 gal"), "flowlog: --area: '1 gal' is a volume, not an area"),
        (("--tank", "0 gal"), "flowlog: --tank: '0 gal' is outside 0.1 gal to 5000 gal"),
        (("--graduation", "1 fl oz"), "--graduation goes with --product"),
        ((*GOLDEN[1:], "--graduation", "1 in"),
         "flowlog: --graduation: '1 in' is no mark of a jug or scale"),
        ((*GOLDEN[1:], "--product", "Weed killer"),
         "flowlog: --product: 'Weed killer' is not a product"),
        ((*GOLDEN[1:], "--product", "x: 3 oz/ac"), "--product: '3 oz/ac': an ounce of what?"),
        ((*GOLDEN[1:], "--product", "x: 100 gal/ac"),
         "flowlog: the liquid products alone are"),
        ((*GOLDEN[1:], "--unsprayable", "25 gal"),
         "flowlog: the unsprayable volume is not less than the tank's"),
        (("none.toml",), "none.toml: there is no such file (write a new one with: "
                         "flowlog plan tank --new none.toml)"),
    ],
)  # fmt: skip
def test_what_is_missing_or_wrong_is_said_plainly(arguments: tuple[str, ...], fault: str) -> None:
    code, out, err = run("tank", *arguments)
    assert (code, out) == (2, "")
    assert fault in " ".join(err.split())


def test_many_fills_and_products_stay_inside_eighty_columns(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    products = "".join(
        f'[[product]]\nname = "A rather long name of product {n}"\nrate = "{n} fl oz/1000 ft2"\n'
        'graduation = "0.25 fl oz"\n'
        for n in range(1, 6)
    )
    path.write_text(
        '[plan]\nrate = "1.5 gal/1000 ft2"\ntank = "25 gal"\nunsprayable = "0.3 gal"\n'
        f'[[stop]]\nname = "A lawn with a long name"\narea = "99000 ft2"\n{products}'
    )
    out = run("tank", path)[1]
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "Fills 2 to 6" in out


def test_the_installed_command_prints_plain_characters_where_the_terminal_has_no_others(
    rig: Path,
) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "flowlog", "plan", "rate", str(rig), "--rate", "1 gal/1000 ft2"],
        capture_output=True,
        env={"PYTHONIOENCODING": "ascii", "PATH": "/usr/bin:/bin", "COLUMNS": "80"},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert b"####" in done.stdout
    done.stdout.decode("ascii")
