"""The live state as the pages read it: what it says, and that it is what its description says."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from states import ALERT, NOTHING, READING, RIG, STATE

from flowlog.review.live_state import Cleared, LiveState, OpenMark, open_mark
from flowlog.rig.model import Wheel
from flowlog.store.rows import StopMark
from flowlog.web.live_json import SCHEMAS, state_json

NOW_US = 1_780_000_000_000_000
CHECK = jsonschema.Draft202012Validator(SCHEMAS["Live"])
EMPTY = LiveState(RIG, "NO DATA", None, None, "10:00:00", None, None, ())

numbers = st.none() | st.floats(allow_nan=True, allow_infinity=True)
states = st.builds(
    replace,
    st.just(STATE),
    freshness=st.sampled_from(["LIVE", "LATE", "NO DATA"]),
    age_s=st.none() | st.floats(0, 1e7),
    reading=st.none()
    | st.builds(
        replace,
        st.just(READING),
        phase=st.sampled_from(["off", "settling", "spraying", "draining"]),
        flow_m3_s=numbers,
        pressure_pa=numbers,
        rate_m3_m2=numbers,
        tank_m3=numbers,
        conductance_share=numbers,
    ),
    rig=st.sampled_from([RIG, replace(RIG, tank=None), replace(RIG, units="metric")]),
    mark=st.none()
    | st.builds(
        OpenMark,
        st.none() | st.text(),
        st.none() | st.floats(0, 1e7),
        st.none() | st.floats(0, 1e6),
    ),
    daemon=st.booleans(),
)


@settings(deadline=None)
@given(states)
def test_every_state_is_as_described_and_is_json(state):
    found = state_json(state, NOW_US)
    CHECK.validate(found)
    json.dumps(found, allow_nan=False)


def test_it_says_the_rate_against_the_target_with_the_band_of_the_terminal():
    found = state_json(STATE, NOW_US)
    rate = found["rate"]
    assert rate["text"] == "1.50"
    assert rate["unit"] == "gal/1000 ft2"
    assert (rate["low"], rate["target"], rate["high"]) == (1.425, 1.5, 1.575)
    assert rate["off"] == 0.0
    assert rate["verdict"] == "on rate"
    assert rate["speed"] == "assumed"
    assert (
        state_json(replace(STATE, rig=replace(RIG, wheel=Wheel(41.0))), 0)["rate"]["speed"]
        == "measured"
    )


def test_the_tank_is_told_in_area_at_the_target_and_in_minutes_at_the_present_flow():
    tank = state_json(STATE, NOW_US)["tank"]
    # 0.15 m3 at 6.11187e-5 m3/m2 is 2454 m2; at 3.55e-4 m3/s it lasts 7.04 min.
    assert tank["area_text"] == "26,417 ft2"
    assert tank["minutes"] == 7.0
    assert tank["at"] == "present flow"
    assert tank["low"] is False


def test_with_the_boom_shut_the_minutes_are_those_at_the_expected_flow():
    shut = replace(STATE, reading=replace(READING, phase="off", flow_m3_s=0.0, tank_m3=0.02))
    tank = state_json(shut, NOW_US)["tank"]
    assert tank["at"] == "expected flow"
    assert tank["minutes"] == pytest.approx(0.02 / RIG.expected_flow_m3_s / 60, abs=0.05)
    assert tank["low"] is True


def test_what_was_not_measured_is_null_and_never_an_old_value():
    found = state_json(replace(STATE, reading=NOTHING), NOW_US)
    for name in ("rate", "flow", "pressure", "tank"):
        assert found[name]["value"] is None
        assert found[name]["text"] == "--"


def test_the_pressure_is_judged_only_while_spraying_settled():
    settling = replace(STATE, reading=replace(READING, phase="settling", pressure_pa=1e5))
    assert state_json(settling, NOW_US)["pressure"]["verdict"] is None
    low = replace(STATE, reading=replace(READING, pressure_pa=1e5))
    assert state_json(low, NOW_US)["pressure"]["verdict"] == "below band"


def test_an_alert_has_a_name_of_its_own_among_all_routes_and_says_all_that_is_known():
    alert = replace(
        ALERT, alert="tip_blocked.0.7", probability=0.9312, seen=True, since_wall_us=NOW_US
    )
    found = state_json(replace(STATE, alerts=(alert,), route_uid="abc"), NOW_US)["alerts"][0]
    assert found["id"] == "abc:tip_blocked.0.7"
    assert found["probability"] == 0.931
    assert found["acknowledged"] is True
    assert found["since"] == "2026-05-28T20:26:40.000Z"
    assert found["checks"] == list(ALERT.checks)


def test_what_cleared_is_named_like_the_alert_it_was():
    cleared = Cleared("tip_blocked.0.7", "Tip blocked", "It is over.", 3.25)
    found = state_json(replace(STATE, cleared=(cleared,), route_uid="abc"), NOW_US)
    assert found["cleared"] == [
        {"id": "abc:tip_blocked.0.7", "title": "Tip blocked", "text": "It is over.", "ago_s": 3.2}
    ]


def test_a_name_that_a_person_typed_brings_no_control_characters():
    stop = replace(STATE.stop, name="lawn\x07\x1b[2J")
    assert state_json(replace(STATE, stop=stop), NOW_US)["stop"]["name"] == "lawn [2J"


def mark(kind, name=None, area_m2=None, at_s=0):
    return StopMark(name, kind, NOW_US + at_s * 1_000_000, 0, 0, f"uid{at_s}", area_m2)


def test_a_begun_stop_is_open_until_its_end_with_the_newest_name_and_area():
    now_us = NOW_US + 60_000_000
    assert open_mark([], now_us) is None
    assert open_mark([mark("name", "x")], now_us) is None
    begun = [
        mark("begin", "lawn"),
        mark("name", None, 500.0, 5),
        mark("name", "north lawn", None, 9),
    ]
    assert open_mark(begun, now_us) == OpenMark("north lawn", 500.0, 60.0)
    assert open_mark([*begun, mark("end", at_s=20)], now_us) is None
    assert open_mark([*begun, mark("begin", at_s=30)], now_us) == OpenMark(None, None, 30.0)
    # A clock that was set back makes no time that has yet to come.
    assert open_mark(begun, NOW_US - 1) == OpenMark("north lawn", 500.0, None)
