"""A fault of the boom in words and sizes."""

from __future__ import annotations

from dataclasses import replace
from math import log

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.stream_maker import make_rig

from flowlog.monitor.codes import CODES
from flowlog.monitor.diagnosis import Signs, weigh
from flowlog.monitor.rules.boom_words import checks_for, describe, details_of, in_words

SURE = {"tip_blocked": 1.0}


def test_a_blocked_tip_is_told_in_tips_with_its_interval_and_as_a_share_of_the_boom():
    size, text = describe(make_rig(6), "tip_blocked", log(5 / 6), 0.01, SURE)
    assert size.unit == "tips"
    assert size.value == pytest.approx(1.0)
    assert size.low == pytest.approx(0.9, abs=0.02)
    assert size.high == pytest.approx(1.1, abs=0.02)
    assert text == (
        "1.0 tip of 6 blocked (0.9 to 1.1): the boom passes 17 % less than its healthy baseline "
        "at the same pressure."
    )


@given(st.integers(1, 24), st.floats(-6.0, -0.001), st.floats(1e-4, 0.5))
def test_blocked_tips_lie_between_none_and_all_of_the_boom(tips, shift, sd):
    size, _ = describe(make_rig(tips), "tip_blocked", shift, sd, SURE)
    assert 0.0 <= size.low <= size.value <= size.high <= tips


def test_two_tips_are_plural():
    assert in_words(make_rig(6), "tip_blocked", log(4 / 6)) == "2.0 tips"
    assert in_words(make_rig(6), "tip_blocked", log(5.5 / 6)) == "0.5 tip"
    assert in_words(make_rig(6), "boom_leak", log(1.12)) == "+12 %"


def test_what_cannot_be_separated_is_named_with_its_probability():
    classes = {"tip_blocked": 0.62, "meter_low": 0.34, "mix_changed": 0.04}
    _, text = describe(make_rig(6), "tip_blocked", log(5 / 6), 0.01, classes)
    assert text.endswith(" It may also be a flow sensor that reads low (34 %).")


def test_two_others_are_joined():
    classes = {"boom_leak": 0.6, "foam": 0.3, "meter_double": 0.1}
    _, text = describe(make_rig(6), "boom_leak", 0.1, 0.01, classes)
    assert text.endswith(" It may also be foam (30 %) or a flow sensor that counts twice (10 %).")


def test_the_first_check_of_what_it_may_be_as_well_follows_its_own_checks():
    classes = {"tip_blocked": 0.62, "meter_low": 0.34, "mix_changed": 0.04}
    checks = checks_for("tip_blocked", classes)
    assert checks == (*CODES["tip_blocked"].checks, CODES["meter_low"].checks[0])


def test_no_check_is_told_twice():
    for code in ("tip_blocked", "boom_leak", "meter_low", "meter_double", "foam", "mix_changed"):
        classes = dict.fromkeys(
            ("tip_blocked", "boom_leak", "meter_low", "meter_double", "foam", "mix_changed"), 1 / 6
        )
        checks = checks_for(code, classes)
        assert len(set(checks)) == len(checks)


def test_a_gauge_before_the_strainer_sees_the_strainer_as_a_tip_and_says_so():
    rig = make_rig(6)
    before = replace(rig, gauge=replace(rig.gauge, place="before strainer"))
    assert "strainer" not in describe(rig, "tip_blocked", log(5 / 6), 0.01, SURE)[1]
    assert "strainer behind the gauge" in describe(before, "tip_blocked", log(5 / 6), 0.01, SURE)[1]


@pytest.mark.parametrize(
    ("code", "shift", "words"),
    [
        ("meter_low", log(0.88), ("flow sensor reads 12 %", "did not answer")),
        ("meter_double", log(2.0), ("doubled", "did not move")),
        ("foam", log(1.06), ("6 % more", "rough", "gas")),
        ("boom_leak", log(1.2), ("20 % more", "(18 to 22 %)")),
    ],
)
def test_each_class_has_its_own_sentence(code, shift, words):
    size, text = describe(make_rig(6), code, shift, 0.01, {code: 1.0})
    assert size.unit == "%"
    assert size.low < size.value < size.high
    for word in words:
        assert word in text
    assert text[0].isupper()
    assert text.endswith(".")


def test_details_hold_every_class_and_the_evidence():
    classes = weigh(Signs(6, log(5 / 6), 0.01, None, None, False))
    details = details_of("tip_blocked", log(5 / 6), 17.23, classes)
    assert details["evidence_nats"] == 17.2
    assert details["shift_log"] == pytest.approx(log(5 / 6), abs=1e-4)
    assert details["probability"] == details["may_be.tip_blocked"]
    may_be = {name: share for name, share in details.items() if name.startswith("may_be.")}
    assert sum(may_be.values()) == pytest.approx(1.0, abs=0.005)
