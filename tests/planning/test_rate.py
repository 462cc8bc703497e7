"""The ways to a rate: each one, worked forwards, gives it; and none leaves the band unnoticed."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.planning.nozzles import TIP_SIZES, nearest_size
from flowlog.planning.rate import (
    RatePlan,
    Setting,
    SpeedRange,
    Way,
    drift_tendency,
    drops_tendency,
    outside_band,
    plan_rate,
    setting_of,
)
from flowlog.rig.model import Boom, Tip
from flowlog.rig.reader import parse_rig
from flowlog.rig.template import template_text
from flowlog.units import number_in, parse


def psi(value: float) -> float:
    return parse(f"{value!r} psi", "pressure")


def setting(
    tip: str = "1.43 gal/min",
    band: tuple[float, float] = (30.0, 40.0),
    pressure: float = 40.0,
    speed: str = "4.87 mph",
    density: float = 1.0,
) -> Setting:
    boom = Boom(
        4, parse("20 in", "length"), Tip(parse(tip, "flow"), psi(40)), psi(band[0]), psi(band[1])
    )
    return Setting(boom, density, psi(pressure), parse(speed, "speed"))


def rate(text: str) -> float:
    return parse(text, "rate")


def one(ways: tuple[Way, ...], kind: str) -> Way:
    (found,) = [way for way in ways if way.kind == kind]
    return found


def halved(now: Setting | None = None) -> RatePlan:
    return plan_rate(now or setting(), rate("1 gal/1000 ft2"))


def test_half_the_rate_takes_a_quarter_of_the_pressure_which_is_refused() -> None:
    way = one(halved().refused, "pressure")
    assert way.refusal == "pressure below"
    assert number_in(way.pressure_pa, "pressure", "psi") == pytest.approx(10, abs=0.05)
    assert way.outside_share == pytest.approx(10 / 30 - 1, abs=0.002)


def test_half_the_rate_by_tips_takes_half_the_flow() -> None:
    plan = halved()
    way = one(plan.ways, "tips")
    assert number_in(plan.tip_flow_m3_s, "flow", "gal/min") == pytest.approx(0.714, abs=0.001)
    assert way.size is not None
    assert way.size.name == "08"
    # (0.714 / 0.8105)^2 x 40: 3.20 L/min at 3 bar is 0.8105 gal/min at 40 psi.
    assert number_in(way.pressure_pa, "pressure", "psi") == pytest.approx(31.05, abs=0.05)


def test_half_the_rate_by_speed_takes_twice_the_speed() -> None:
    way = one(halved().ways, "speed")
    assert number_in(way.speed_m_s, "speed", "mph") == pytest.approx(9.74, abs=0.02)
    assert way.pressure_pa == setting().pressure_pa


def test_half_the_rate_with_speed_and_pressure_goes_to_the_end_of_the_band() -> None:
    way = one(halved().ways, "speed and pressure")
    assert way.pressure_pa == psi(30)
    assert number_in(way.speed_m_s, "speed", "mph") == pytest.approx(
        9.74 * math.sqrt(0.75), abs=0.02
    )


def test_a_kept_pace_comes_before_a_changed_one() -> None:
    assert [way.kind for way in halved().ways] == ["tips", "speed and pressure", "speed"]


def test_without_need_for_new_tips_they_come_last() -> None:
    now = setting("0.8 gal/min", band=(20, 60))
    plan = plan_rate(now, now.rate_m3_m2 * 0.95)
    assert [way.kind for way in plan.ways][:2] == ["pressure", "speed"]
    assert all(way.kind == "tips" for way in plan.ways[2:])
    assert len(plan.ways) > 2


def test_a_turn_of_the_regulator_comes_before_tips_that_would_change_less() -> None:
    now = setting("0.8 gal/min", band=(20, 60), pressure=30)
    plan = plan_rate(now, now.rate_m3_m2 * 1.25)
    assert plan.ways[0].kind == "pressure"
    tips = next(way for way in plan.ways if way.size and way.size.name == "10")
    assert abs(tips.pressure_pa - now.pressure_pa) < abs(plan.ways[0].pressure_pa - now.pressure_pa)


def test_the_tips_that_are_fitted_are_no_other_tips() -> None:
    now = setting("0.8 gal/min", band=(20, 60))
    assert "08" not in [w.size.name for w in plan_rate(now, now.rate_m3_m2).ways if w.size]


def test_ways_outside_the_pace_are_refused() -> None:
    limits = SpeedRange(parse("3 mph", "speed"), parse("6 mph", "speed"))
    plan = plan_rate(setting(), rate("1 gal/1000 ft2"), limits)
    assert [way.kind for way in plan.ways] == ["tips"]
    assert one(plan.refused, "speed").refusal == "too fast"
    slow = plan_rate(setting(), rate("4 gal/1000 ft2"), limits)
    assert one(slow.refused, "speed").refusal == "too slow"


def test_where_no_size_fits_the_two_beside_it_come_with_another_speed() -> None:
    plan = plan_rate(setting(), rate("1.8 gal/1000 ft2"))
    refused = one(plan.refused, "tips")
    assert refused.refusal == "no size"
    assert refused.size is not None
    assert refused.size.name == "15"
    names = {way.size.name: way for way in plan.ways if way.kind == "tips and speed" and way.size}
    assert set(names) == {"10", "15"}
    # The smaller one at the top of the band and slower, the larger at the bottom and faster.
    assert names["10"].pressure_pa == psi(40)
    assert names["10"].speed_m_s < setting().speed_m_s < names["15"].speed_m_s
    assert names["15"].pressure_pa == psi(30)


def test_a_pressure_now_outside_the_band_refuses_speed_alone() -> None:
    plan = plan_rate(setting(pressure=60), rate("1 gal/1000 ft2"))
    assert one(plan.refused, "speed").refusal == "pressure now outside"
    assert one(plan.ways, "speed and pressure").pressure_pa == psi(30)


def test_a_rate_far_beyond_every_tip_and_pace_leaves_no_way() -> None:
    plan = plan_rate(setting(), rate("40 gal/1000 ft2"), SpeedRange(parse("3 mph", "speed")))
    assert plan.ways == ()
    assert {way.refusal for way in plan.refused} == {"pressure above", "no size", "too slow"}


def test_a_dense_carrier_takes_more_pressure_by_its_density() -> None:
    water, dense = setting(), setting(density=1.28)
    asked = rate("1.9 gal/1000 ft2")
    assert one(plan_rate(dense, asked).refused, "pressure").pressure_pa == pytest.approx(
        1.28 * one(plan_rate(water, asked).ways, "pressure").pressure_pa
    )


def test_the_ends_of_the_band_belong_to_it() -> None:
    boom = setting().boom
    assert outside_band(boom, psi(30)) == outside_band(boom, psi(40)) == 0
    assert outside_band(boom, psi(29)) < 0 < outside_band(boom, psi(41))


def test_the_rig_s_own_pressure_gives_the_rig_s_own_rate() -> None:
    rig = parse_rig(template_text(), Path("rig.toml"), {})
    assert setting_of(rig).rate_m3_m2 == pytest.approx(rig.work.rate_m3_m2)
    faster = setting_of(rig, speed_m_s=2 * rig.work.speed_m_s)
    assert faster.rate_m3_m2 == pytest.approx(rig.work.rate_m3_m2 / 2)
    assert setting_of(rig, pressure_pa=psi(20)).pressure_pa == psi(20)


def test_sizes_rise_and_a_us_size_is_found_by_its_name() -> None:
    flows = [size.flow_m3_s for size in TIP_SIZES]
    assert flows == sorted(set(flows))
    size, off = nearest_size(Tip(parse("0.4 gal/min", "flow"), psi(40)).coefficient)
    assert size.name == "04"
    assert off == pytest.approx(-0.013, abs=0.0005)


@pytest.mark.parametrize(
    ("tip", "pressure", "drops"),
    [
        (1.0, 1.0, "as now"),
        (1.0, 1.04, "as now"),
        (1.0, 1.2, "finer"),
        (1.0, 0.8, "coarser"),
        (1.3, 1.0, "coarser"),
        (0.7, 1.0, "finer"),
        (0.7, 1.3, "finer"),
        (1.3, 0.7, "coarser"),
        (0.7, 0.7, "unclear"),
        (1.3, 1.3, "unclear"),
    ],
)
def test_pressure_refines_and_size_coarsens(tip: float, pressure: float, drops: str) -> None:
    assert drops_tendency(tip, pressure) == drops


@pytest.mark.parametrize(
    ("drops", "speed", "drift"),
    [
        ("as now", 1.0, "as now"),
        ("finer", 1.0, "more"),
        ("coarser", 1.05, "less"),
        ("as now", 1.5, "more"),
        ("as now", 0.5, "less"),
        ("coarser", 1.5, "unclear"),
        ("finer", 0.5, "unclear"),
        ("unclear", 1.0, "unclear"),
    ],
)
def test_fine_drops_and_a_fast_boom_drift(drops: str, speed: float, drift: str) -> None:
    assert drift_tendency(drops, speed) == drift  # type: ignore[arg-type]


@given(
    st.floats(0.1, 3.0),
    st.floats(10, 50),
    st.floats(1.05, 4.0),
    st.floats(0.3, 3.0),
    st.floats(0.5, 15.0),
    st.floats(0.8, 1.5),
    st.floats(0.05, 20.0),
)
def test_every_way_worked_forwards_gives_the_wanted_rate_and_stays_inside(
    gpm: float, low: float, width: float, at: float, mph: float, density: float, wanted: float
) -> None:
    now = setting(f"{gpm!r} gal/min", (low, low * width), low * at, f"{mph!r} mph", density)
    plan = plan_rate(now, rate(f"{wanted!r} gal/1000 ft2"))
    for way in plan.ways:
        flow = way.coefficient * way.pressure_pa**0.5
        forwards = flow / (way.speed_m_s * now.boom.spacing_m)
        assert forwards == pytest.approx(plan.wanted_m3_m2, rel=1e-9)
        assert way.rate_m3_m2 == pytest.approx(forwards, rel=1e-12)
        assert way.boom_flow_m3_s == pytest.approx(4 * flow, rel=1e-12)
        assert now.boom.pressure_low_pa * (1 - 1e-8) <= way.pressure_pa
        assert way.pressure_pa <= now.boom.pressure_high_pa * (1 + 1e-8)
    for way in plan.refused:
        assert way.refusal is not None
    by_pressure = [way for way in (*plan.ways, *plan.refused) if way.kind == "pressure"]
    assert len(by_pressure) == 1
    assert by_pressure[0].rate_m3_m2 == pytest.approx(plan.wanted_m3_m2, rel=1e-9)


@given(st.floats(0.2, 5.0))
def test_the_ways_hang_on_ratios_alone(share: float) -> None:
    now = setting(band=(15, 60))
    plan = plan_rate(now, now.rate_m3_m2 * share)
    twice = replace(now, speed_m_s=now.speed_m_s * 2)
    other = plan_rate(twice, twice.rate_m3_m2 * share)
    assert [(w.kind, w.refusal) for w in plan.ways if not w.size] == [
        (w.kind, w.refusal) for w in other.ways if not w.size
    ]
