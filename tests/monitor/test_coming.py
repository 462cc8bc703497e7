"""A fault that may still be coming, followed tick by tick, and how far its interval reaches."""

from __future__ import annotations

from dataclasses import replace
from math import log

import pytest

from flowlog.monitor.creep import Creep
from flowlog.monitor.noise import NoiseLevel
from flowlog.monitor.rules.coming import ComingFault, comes, describe_coming
from flowlog.simulator.run import plain_rig

CREEP = Creep(
    ago_s=3.0,
    earliest_s=3.4,
    latest_s=2.6,
    over_s=6.0,
    so_far=log(1.0 - 0.6 / 4),
    so_far_sd=0.01,
    near=log(1.0 - 0.55 / 4),
    middle=log(1.0 - 1.0 / 4),
    far=log(1.0 - 2.0 / 4),
    coming=0.9,
)


def fault(level: float = -0.2) -> ComingFault:
    return ComingFault("tip_blocked", level, [level] * 4, 4, 0.06)


def refined(what: ComingFault, ticks: int) -> list[int]:
    noise = NoiseLevel()
    turns = [what.step(None, what.level, noise) for _ in range(ticks)]
    return [age for age, turn in enumerate(turns, 1) if turn == "refined"]


def test_while_it_comes_it_is_measured_every_three_seconds_for_a_minute_and_else_three_times():
    still, coming = fault(), fault()
    coming.coming = True
    assert refined(still, 70) == [6, 16, 50]
    assert refined(coming, 70) == sorted({*range(6, 61, 6), 16, 50})


def grown(level: float, was: float, *, coming: bool) -> ComingFault:
    what = fault(level)
    what.coming, what.grown, what.was, what.onsets = coming, True, was, [9, 4]
    what.join()
    return what


def test_the_rest_of_what_was_coming_is_joined_to_it():
    what = grown(-0.29, -0.2, coming=True)
    assert (what.onsets, what.grown) == ([9], False)


@pytest.mark.parametrize(
    ("level", "was", "coming"), [(-0.29, -0.2, False), (-0.1, -0.2, True), (0.1, 0.2, True)]
)
def test_another_onset_and_a_way_back_stay_changes_of_their_own(level, was, coming):
    what = grown(level, was, coming=coming)
    assert (what.onsets, what.grown) == ([9, 4], True)


def test_the_interval_reaches_from_what_there_is_to_where_it_may_end():
    rig = plain_rig(4, tank_gal=None)
    size, text = describe_coming(rig, "tip_blocked", CREEP, 0.01, {"tip_blocked": 1.0})
    assert (size.value, size.unit) == (pytest.approx(0.6), "tips")
    assert size.low == pytest.approx(0.6, abs=0.1)
    assert size.low < 0.6
    assert size.high == pytest.approx(2.0)
    assert text.startswith("So far 0.6 tip of 4 blocked (0.5 to 0.7): the boom passes 15 % less")
    assert text.endswith("Still coming: it may become 2.0 tips.")


def test_a_leak_that_comes_is_told_in_per_cent():
    rig = plain_rig(4, tank_gal=None)
    creep = replace(CREEP, so_far=log(1.05), near=log(1.04), middle=log(1.08), far=log(1.2))
    size, text = describe_coming(rig, "boom_leak", creep, 0.005, {"boom_leak": 1.0})
    assert size.unit == "%"
    assert size.low < size.value == pytest.approx(5.0)
    assert size.high == pytest.approx(20.0)
    assert text.startswith("So far the boom passes 5 % more")
    assert "it may become +20 %" in text


def test_less_than_a_chance_in_twenty_is_not_told():
    assert comes(CREEP)
    assert not comes(replace(CREEP, coming=0.04))
    assert not comes(None)
