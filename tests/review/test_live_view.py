"""The live screen answers at arm's length: must I stop, is the rate right, is this live?"""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from states import ALERT, NOTHING, READING, RIG, STATE

from flowlog.review.live_state import LiveState
from flowlog.review.live_view import ASCII, BLOCKS, plain_line, screen


def drawn(state: LiveState, width: int = 80, height: int = 24, marks=BLOCKS) -> str:
    return "\n".join(line.plain.rstrip() for line in screen(state, width, height, marks))


def test_the_whole_screen_fits_80_by_24_and_the_rate_is_the_largest_thing():
    expected = """\
 SPRAYING  Test rig, north lawn                        LIVE  0.8 s old  10:42:07
────────────────────────────────────────────────────────────────────────────────
        ███         ███████████████      █████████
        ███         ███████████████      █████████
     ██████         ███               ███         ███
     ██████         ███               ███         ███
  ███   ███         ████████████      ███         ███   gal/1000 ft2
  ███   ███         ████████████      ███         ███   asked 1.50
        ███                     ███   ███         ███
        ███                     ███   ███         ███    ON RATE
        ███                     ███   ███         ███    0 % off asked
        ███                     ███   ███         ███    speed assumed
        ███   ███   ███         ███   ███         ███
        ███   ███   ███         ███   ███         ███
  ███████████████      █████████         █████████
  ███████████████      █████████         █████████
────────────────────────────────────────────────────────────────────────────────
 FLOW      5.63 gal/min   expected 5.63 gal/min
 PRESSURE  40.0 psi       in band    25 |──────────────●──────────| 50
 BOOM      passes 100 % of healthy
 TANK      39.6 gal       of 60.0 gal, for 26,417 ft2 at the asked rate
────────────────────────────────────────────────────────────────────────────────
 STOP 2    12,917 ft2     18.5 gal     mean 1.50    sprayed 5 min 00 s
 ROUTE     31,011 ft2     46.0 gal     mean 1.50    sprayed 20 min 00 s"""
    # The figures are compared by their rows above; the decimal point's place follows from them.
    got = drawn(STATE)
    assert got.count("\n") == 23
    words_only = [line for line in expected.split("\n") if "███" not in line]
    assert [line for line in got.split("\n") if "███" not in line] == words_only
    assert got.count("███") > 60


def test_an_alert_takes_the_top_with_what_how_sure_since_when_and_what_to_check():
    lines = drawn(replace(STATE, alerts=(ALERT,))).split("\n")
    assert lines[1].startswith(" STOP: TIP BLOCKED")
    assert lines[1].endswith("began 42 s ago")
    assert "0.8 to 1.2" in lines[2]
    assert any(line.startswith(" First: Shut the boom") for line in lines[3:6])
    assert len(lines) <= 24


def test_beside_a_stop_alert_nothing_says_on_rate_in_green():
    lines = screen(replace(STATE, alerts=(ALERT,)), 80, 24)
    assert not any("green" in str(span.style) for line in lines[1:] for span in line.spans)


def test_further_alerts_are_named():
    state = replace(STATE, alerts=(ALERT, replace(ALERT, title="Pressure high"), ALERT, ALERT))
    text = drawn(state, height=40)
    assert "also: Pressure high, began 42 s ago" in text
    assert "and 1 more" in text


def test_an_alert_of_unknown_onset_says_so():
    text = drawn(replace(STATE, alerts=(replace(ALERT, since_s=None),)))
    assert "began at an unknown time" in text


@pytest.mark.parametrize(
    ("share", "verdict"),
    [
        (1.0, "ON RATE"),
        (0.951, "ON RATE"),
        (0.94, "A LITTLE LOW"),
        (1.07, "A LITTLE HIGH"),
        (0.85, "TOO LOW"),
        (1.3, "TOO HIGH"),
    ],
)
def test_the_rate_has_a_word_not_only_a_colour(share, verdict):
    reading = replace(READING, rate_m3_m2=share * RIG.work.rate_m3_m2)
    assert verdict in drawn(replace(STATE, reading=reading))


@pytest.mark.parametrize(
    ("pressure_pa", "words"), [(100e3, "BELOW BAND"), (500e3, "ABOVE BAND"), (276e3, "in band")]
)
def test_the_pressure_has_a_word_and_a_place(pressure_pa, words):
    text = drawn(replace(STATE, reading=replace(READING, pressure_pa=pressure_pa)))
    line = next(line for line in text.split("\n") if "PRESSURE" in line)
    assert words in line
    assert {"BELOW BAND": "25 <", "ABOVE BAND": "> 50", "in band": "●"}[words] in line


@pytest.mark.parametrize("phase", ["off", "draining", "settling"])
def test_the_pressure_is_not_judged_while_the_boom_does_not_spray(phase):
    reading = replace(READING, phase=phase, pressure_pa=55e3, rate_m3_m2=None)
    assert "BAND" not in drawn(replace(STATE, reading=reading))
    assert "band" not in plain_line(replace(STATE, reading=reading))


def test_old_data_is_no_value_any_more_and_says_what_to_do():
    state = replace(
        STATE, freshness="NO DATA", age_s=45.0, reading=None, advice="look at its cable"
    )
    text = drawn(state)
    assert "NO DATA  45 s old" in text
    assert "look at its cable" in text
    assert "40.0 psi" not in text
    assert "FLOW      --" in text


def test_late_data_is_shown_as_late():
    assert "LATE  5.2 s old" in drawn(replace(STATE, freshness="LATE", age_s=5.2))


def test_nothing_measured_is_said_and_not_shown_as_zero():
    text = drawn(replace(STATE, reading=NOTHING))
    assert "NOT MEASURED" in text
    assert "PRESSURE  --" in text
    assert "not judged now" in text
    assert "TANK      --" in text


def test_no_data_at_all_no_route_no_stop():
    state = LiveState(RIG, "NO DATA", None, None, "10:00:00", None, None, ())
    assert "no data yet" in drawn(state)
    assert "no data yet" in plain_line(state)


def test_a_low_tank_says_so():
    assert " LOW " in drawn(replace(STATE, reading=replace(READING, tank_m3=0.01)))


def test_a_rig_without_tank_has_no_line_for_it():
    assert "TANK" not in drawn(replace(STATE, rig=replace(RIG, tank=None)))


def test_metric_rigs_see_metric_units():
    text = drawn(replace(STATE, rig=replace(RIG, units="metric")))
    assert "L/ha" in text
    assert "bar" in text
    assert "gal" not in text


def test_a_rate_beyond_all_sense_is_no_number():
    text = drawn(replace(STATE, reading=replace(READING, rate_m3_m2=1e9)))
    assert "TOO HIGH" in text
    assert ">999 %" in text


def test_plain_ascii_where_the_terminal_knows_no_more():
    assert drawn(replace(STATE, alerts=(ALERT,)), marks=ASCII).isascii()


def test_a_narrow_and_low_screen_keeps_alert_rate_and_age():
    text = drawn(replace(STATE, alerts=(ALERT,)), 36, 8)
    assert "STOP: TIP" in text
    assert "1.50" in text
    assert "0.8 s old" in text
    assert text.count("\n") <= 7


def test_control_characters_in_names_do_not_reach_the_terminal():
    stop = replace(STATE.stop, name="a\x1b[2Jb\nc\x07")
    text = drawn(replace(STATE, stop=stop, rig=replace(RIG, name="x\x1b]0;y\x07")))
    assert "\x1b" not in text
    assert "\x07" not in text


def test_the_plain_line_is_one_line_with_state_age_rate_and_alert():
    line = plain_line(replace(STATE, alerts=(ALERT,)))
    assert "\n" not in line
    for part in ("LIVE", "0.8 s old", "1.50 gal/1000 ft2 (0 %, on rate)", "ALERT Tip blocked"):
        assert part in line


floats = st.one_of(
    st.none(), st.floats(allow_nan=True, allow_infinity=True), st.sampled_from([0.0, 1e300, -1e300])
)


@settings(max_examples=200, deadline=None)
@given(
    st.integers(1, 200),
    st.integers(1, 60),
    st.sampled_from(["off", "settling", "spraying", "draining"]),
    st.lists(floats, min_size=6, max_size=6),
    st.booleans(),
    st.floats(0, 1e9),
)
def test_any_state_fits_any_screen(width, height, phase, values, alert, age_s):
    reading = replace(
        READING,
        phase=phase,
        flow_m3_s=values[0],
        pressure_pa=values[1],
        rate_m3_m2=values[2],
        conductance_share=values[3],
        tank_m3=values[4],
        speed_m_s=values[5],
    )
    state = replace(STATE, reading=reading, alerts=(ALERT,) if alert else (), age_s=age_s)
    lines = screen(state, width, height)
    assert 1 <= len(lines) <= height
    assert all(line.cell_len <= width for line in lines)
    assert not math.isnan(len(plain_line(state)))
