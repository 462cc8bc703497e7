"""The catch: verdicts by tip, slips, missing tips, and the rate with its uncertainty."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.calibration.catch import CatchResult, Caught, Limits, catch, catch_doubt
from flowlog.calibration.catch_budget import CatchErrors
from flowlog.calibration.course import course
from flowlog.calibration.faults import CalibrationError
from flowlog.rig.model import Boom, Tip
from flowlog.units import number_in, parse

PSI_40 = parse("40 psi", "pressure")
BOOM = Boom(8, parse("20 in", "length"), Tip(parse("0.5 gal/min", "flow"), PSI_40), 2e5, 3e5)
NOMINAL_M3 = parse("0.5 gal/min", "flow") * 20.0


def caught(*shares: float, boom: Boom = BOOM, **options) -> CatchResult:
    """Each tip's volume as a share of a new tip's in 20 s."""
    those = [Caught(i, share * NOMINAL_M3, 20.0) for i, share in enumerate(shares, 1)]
    return catch(boom, those, pressure_pa=PSI_40, **options)


def verdicts(result: CatchResult) -> list[str]:
    return [tip.verdict for tip in result.tips]


def codes(result: CatchResult) -> list[str]:
    return [one.code for one in result.remarks]


def test_eight_good_tips_are_fine():
    result = caught(1.0, 1.01, 0.99, 1.02, 0.98, 1.0, 1.01, 0.99)
    assert verdicts(result) == ["fine"] * 8
    assert result.named() == ()
    assert result.cv == pytest.approx(0.0131, abs=2e-4)
    assert result.total_m3_s == pytest.approx(8.0 * parse("0.5 gal/min", "flow"))


def test_a_worn_tip_is_replaced_and_both_limits_are_named():
    result = caught(1.0, 1.0, 1.12, 1.0, 1.0, 1.0, 1.0, 1.0)
    (worn,) = result.named()
    assert (worn.tip, worn.verdict) == (3, "replace")
    assert worn.beyond == ("5 % of the boom's mean", "10 % over a new tip")
    assert worn.of_new == pytest.approx(0.12)
    assert worn.of_mean == pytest.approx(1.12 / 1.015 - 1.0)


def test_a_clogged_tip_is_cleaned_and_caught_again():
    result = caught(1.0, 1.0, 1.0, 0.9, 1.0, 1.0, 1.0, 1.0)
    (clogged,) = result.named()
    assert (clogged.tip, clogged.verdict) == (4, "clean and recheck")
    assert clogged.beyond == ("5 % of the boom's mean",)


def test_a_blocked_tip_does_not_make_its_healthy_neighbours_look_worn():
    four = dataclasses.replace(BOOM, tips=4)
    result = caught(1.0, 0.0, 1.0, 1.0, boom=four)
    assert verdicts(result) == ["fine", "clean and recheck", "fine", "fine"]
    assert result.total_m3_s == pytest.approx(3.0 * parse("0.5 gal/min", "flow"))


def test_tips_worn_all_alike_are_seen_beside_new_ones_only():
    result = caught(*[1.15] * 8)
    assert verdicts(result) == ["replace"] * 8
    assert result.tips[0].beyond == ("10 % over a new tip",)
    assert "all-high" in codes(result)
    assert verdicts(catch(BOOM, result.caught)) == ["fine"] * 8


def test_all_tips_far_below_new_ones_ask_for_the_gauge():
    assert "all-low" in codes(caught(*[0.8] * 8))


def test_wider_limits_may_be_asked_for():
    wide = caught(1.0, 1.0, 1.07, 1.0, 1.0, 0.92, 1.0, 1.0, limits=Limits(of_mean=0.10))
    assert verdicts(wide) == ["fine"] * 8
    assert verdicts(caught(1.0, 1.0, 1.07, 1.0, 1.0, 0.92, 1.0, 1.0)).count("fine") == 6


def test_a_verdict_near_its_limit_is_not_sure():
    result = caught(1.0, 1.0, 1.057, 1.0, 1.0, 1.0, 1.0, 1.0)
    assert not result.tips[2].sure
    assert caught(1.0, 1.0, 1.3, 1.0, 1.0, 1.0, 1.0, 1.0).tips[2].sure
    assert caught(*[1.0] * 8).tips[0].sure


def test_tips_that_were_not_caught_are_named_and_stand_at_the_mean():
    full = caught(*[1.0] * 8)
    part = caught(*[1.0] * 6)
    assert verdicts(part)[6:] == ["not caught", "not caught"]
    assert part.tips[7].flow_m3_s is None
    assert "missing" in codes(part)
    assert part.total_m3_s == pytest.approx(full.total_m3_s)
    assert part.total.u > full.total.u


def test_a_tip_caught_twice_counts_with_its_mean_unless_it_was_begun_anew():
    first, second = Caught(1, 0.9 * NOMINAL_M3, 20.0), Caught(1, 1.0 * NOMINAL_M3, 20.0)
    flow = parse("0.5 gal/min", "flow")
    both = catch(BOOM, [first, second])
    assert both.tips[0].flow_m3_s == pytest.approx(0.95 * flow)
    assert both.tips[0].catches == 2
    anew = catch(BOOM, [first, dataclasses.replace(second, anew=True)])
    assert anew.tips[0].flow_m3_s == pytest.approx(flow)
    assert anew.tips[0].catches == 1
    assert len(anew.caught) == 2


def test_640_for_64_is_doubted_and_does_not_shift_the_mean():
    result = caught(1.0, 1.0, 10.0, 1.0, 1.0, 1.0, 1.0, 1.0)
    assert "ten times" in (result.tips[2].doubt or "")
    assert "slip" in codes(result)
    assert verdicts(result).count("fine") == 7


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (10.0, "ten times"),
        (0.1, "a tenth"),
        (29.57, "mL given as fl oz"),
        (1 / 29.57, "fl oz given as mL"),
        (60.0, "60 times"),
        (5.0, "5 times what the other tips give"),
    ],
)
def test_a_slip_is_told_by_its_ratio_to_the_other_tips(ratio: float, words: str):
    assert words in (catch_doubt(ratio, [1.0, 1.02, 0.99]) or "")


def test_a_slip_of_the_first_tip_is_told_by_the_flow_that_is_expected():
    assert "ten times" in (catch_doubt(10.4, expected_m3_s=1.0) or "")
    assert catch_doubt(10.4) is None


@pytest.mark.parametrize("flow", [0.0, 0.4, 1.0, 2.5])
def test_what_can_be_is_not_doubted(flow: float):
    assert catch_doubt(flow, [1.0, 1.0, 1.0]) is None


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (Caught(0, 1e-3, 20.0), "tip 0: the boom has tips 1 to 8"),
        (Caught(9, 1e-3, 20.0), "tip 9: the boom has tips 1 to 8"),
        (Caught(2, 1e-3, 0.0), "tip 2: 0 s is not more than zero"),
        (Caught(2, 1e-3, -5.0), "tip 2: -5 s is not more than zero"),
        (Caught(2, -1e-3, 20.0), "tip 2: -1 L cannot be caught"),
        (Caught(2, math.nan, 20.0), "tip 2: nan L cannot be caught"),
    ],
)
def test_what_cannot_be_is_refused_by_its_tip(bad: Caught, words: str):
    with pytest.raises(CalibrationError, match=words):
        catch(BOOM, [bad])


def test_nothing_caught_and_a_boom_that_was_shut_are_refused():
    with pytest.raises(CalibrationError, match="nothing was caught"):
        catch(BOOM, [])
    with pytest.raises(CalibrationError, match="no tip gave anything"):
        catch(BOOM, [Caught(1, 0.0, 20.0)])
    with pytest.raises(CalibrationError, match="pressure"):
        catch(BOOM, [Caught(1, 1e-3, 20.0)], pressure_pa=0.0)


def test_a_dense_liquid_is_judged_against_a_new_tip_that_gives_as_little():
    dense = caught(*[1.0 / math.sqrt(1.28)] * 8, relative_density=1.28)
    assert dense.tips[0].of_new == pytest.approx(0.0, abs=1e-12)


def rated(*shares: float) -> CatchResult:
    timed = course(BOOM.effective_width_m, parse("75 ft", "length"), [17.0, 17.1])
    return caught(*shares, course=timed)


def test_the_rate_of_a_carrier_follows_from_that_of_water():
    result = rated(*[1.0] * 8)
    assert result.rate_of(1.28) == pytest.approx(result.rate_m3_m2 / math.sqrt(1.28))
    assert caught(1.0).rate_of(1.28) is None


def test_the_jugs_scale_does_not_average_over_tips_and_the_reading_does():
    def part(tips: int, name: str) -> float:
        boom = dataclasses.replace(BOOM, tips=tips)
        result = caught(*[1.0] * tips, boom=boom)
        (one,) = [part for part in result.total.components if part.name.startswith(name)]
        return one.contribution / result.total.value

    assert part(2, "jug") == pytest.approx(part(8, "jug"))
    assert part(2, "reading") == pytest.approx(2.0 * part(8, "reading"))


@given(st.lists(st.floats(0.6, 1.4), min_size=1, max_size=8), st.floats(5.0, 60.0))
def test_the_rate_is_volume_over_area_whatever_the_time_of_the_catch(shares, seconds):
    timed = course(BOOM.effective_width_m, 22.86, [17.05])
    boom = dataclasses.replace(BOOM, tips=len(shares))
    those = [Caught(i, s * NOMINAL_M3 * seconds / 20.0, seconds) for i, s in enumerate(shares, 1)]
    result = catch(boom, those, course=timed)
    sprayed = sum(shares) * NOMINAL_M3 / 20.0 * 17.05
    assert result.rate_m3_m2 == pytest.approx(sprayed / timed.area_m2)
    assert result.rate.value == result.rate_m3_m2
    assert CatchResult.from_json(result.to_json()) == result


@given(st.permutations(range(1, 9)))
def test_the_order_in_which_tips_are_caught_is_all_the_same(order):
    shares = dict(zip(range(1, 9), (1.0, 1.02, 1.12, 0.97, 0.9, 1.0, 1.01, 0.99), strict=True))
    mixed = catch(BOOM, [Caught(tip, shares[tip] * NOMINAL_M3, 20.0) for tip in order])
    plain = catch(BOOM, [Caught(tip, shares[tip] * NOMINAL_M3, 20.0) for tip in range(1, 9)])
    assert verdicts(mixed) == verdicts(plain)
    assert mixed.total.u == pytest.approx(plain.total.u)


def test_four_tips_at_20_in_give_two_gallons_on_a_thousand_square_feet():
    boom = dataclasses.replace(BOOM, tips=4)
    timed = course(boom.effective_width_m, parse("150 ft", "length"), [21.0, 21.0])
    those = [Caught(tip, parse("64 fl oz", "volume"), 21.0) for tip in range(1, 5)]
    result = catch(boom, those, course=timed)
    assert number_in(result.rate_m3_m2, "rate", "gal/1000 ft2") == pytest.approx(2.0)
    assert number_in(result.tips[0].flow_m3_s, "flow", "gal/min") == pytest.approx(1.43, abs=0.005)


def test_better_jugs_and_watches_make_a_surer_rate():
    rough = caught(*[1.0] * 8)
    fine = caught(*[1.0] * 8, errors=CatchErrors(jug_share=0.002, timing_s=0.05))
    assert fine.total.relative < 0.3 * rough.total.relative


def test_a_flow_may_be_given_in_place_of_volume_and_time():
    flow = parse("0.5 gal/min", "flow")
    result = catch(BOOM, [Caught.of_flow(1, flow)])
    assert result.tips[0].flow_m3_s == pytest.approx(flow)
