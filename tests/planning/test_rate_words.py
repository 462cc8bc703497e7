"""What a rate plan is said to need minding."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from flowlog.planning.rate import plan_rate, setting_of
from flowlog.planning.rate_words import notes, sayer, times_words, tips_words
from flowlog.rig.model import Rig
from flowlog.rig.reader import parse_rig
from flowlog.rig.template import template_text
from flowlog.units import parse


def rig() -> Rig:
    return parse_rig(template_text(), Path("rig.toml"), {})


def noted(one: Rig, wanted: str) -> str:
    plan = plan_rate(setting_of(one), parse(wanted, "rate"))
    return "\n".join(notes(plan, sayer(one.units), one.meter, one.gauge))


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (0.25, "a quarter of the rate now"),
        (0.3333, "a third of the rate now"),
        (0.5, "half the rate now"),
        (0.81, "81 % of the rate now"),
        (1.002, "as now"),
        (1.5, "1.5 times the rate now"),
        (2.0, "twice the rate now"),
        (4.0, "four times the rate now"),
    ],
)
def test_a_share_is_said_as_a_person_would(ratio: float, words: str) -> None:
    assert times_words(ratio, "the rate now") == words


def test_the_mix_in_the_tank_does_not_follow_the_rate() -> None:
    assert "would put 33 % MORE product on the ground: mix anew" in noted(rig(), "2 gal/1000 ft2")
    assert "would put 10 % LESS product on the ground" in noted(rig(), "1.35 gal/1000 ft2")
    assert "product on the ground" not in noted(rig(), "1.5 gal/1000 ft2")


def test_a_flow_that_the_meter_cannot_count_is_said() -> None:
    small = replace(rig(), meter=replace(rig().meter, highest_m3_s=parse("6 gal/min", "flow")))
    assert "is outside the meter's range (0.528 gal/min to 6 gal/min)" in noted(
        small, "1.8 gal/1000 ft2"
    )
    assert "meter" not in noted(rig(), "1.8 gal/1000 ft2")


def test_a_pressure_beyond_the_gauge_is_said() -> None:
    short = replace(rig(), gauge=replace(rig().gauge, span_pa=parse("40 psi", "pressure")))
    assert "The gauge ends at 40 psi, below some of these." in noted(short, "1.8 gal/1000 ft2")


def test_a_doubled_pace_is_questioned() -> None:
    assert "More than half as fast again" in noted(rig(), "0.8 gal/1000 ft2")
    assert "More than half as fast again" not in noted(rig(), "1.4 gal/1000 ft2")


def test_the_tips_fitted_are_named_by_their_size_where_they_have_one() -> None:
    def named(flow: str) -> str:
        one = rig()
        tip = replace(one.boom.tip, flow_m3_s=parse(flow, "flow"))
        setting = setting_of(replace(one, boom=replace(one.boom, tip=tip)))
        return tips_words(plan_rate(setting, parse("1 gal/1000 ft2", "rate")), sayer("us"))

    assert named("0.8 gal/min") == "0.8 gal/min at 40 psi (about size 08)"
    assert named("1.43 gal/min") == "1.43 gal/min at 40 psi (between sizes, nearest 15)"
