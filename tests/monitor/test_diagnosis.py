"""Which class a shift of the boom's conductance belongs to, and how surely."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from flowlog.monitor.diagnosis import _LIKELIHOODS, MIX_LOG, Roughness, Signs, reweigh, weigh
from flowlog.monitor.supply import PressureAnswer, answers_of
from flowlog.rig.model import SupplyAnswer

CLASSES = {"tip_blocked", "boom_leak", "meter_low", "meter_double", "foam", "mix_changed"}


QUIET = Roughness(1.0)


def blocked(tips: int, parts: float, **changes) -> Signs:
    """A blocked part of tips whose pressure answered as a usual pump's does."""
    shift = log(1 - parts / tips)
    signs = Signs(tips, shift, 0.003, PressureAnswer(-0.4 * shift, 0.005), QUIET, False)
    return replace(signs, **changes)


def more(shift: float, **changes) -> Signs:
    signs = Signs(6, shift, 0.003, PressureAnswer(-0.4 * shift, 0.005), QUIET, False)
    return replace(signs, **changes)


STAYED = PressureAnswer(0.0, 0.005)

signs = st.builds(
    Signs,
    tips=st.integers(2, 24),
    shift=st.floats(-3.0, 3.0).filter(lambda shift: abs(shift) > 1e-3),
    shift_sd=st.floats(1e-4, 0.1),
    answer=st.none()
    | st.builds(PressureAnswer, moved=st.floats(-0.5, 0.5), sd=st.floats(1e-3, 0.1)),
    roughness=st.none()
    | st.builds(
        Roughness,
        st.none() | st.floats(0.0, 50.0),
        st.integers(3, 200),
        st.none() | st.floats(-30.0, 300.0),
    ),
    after_pause=st.booleans(),
)


@given(signs)
def test_the_probabilities_add_up_to_one_and_the_likeliest_comes_first(seen):
    classes = weigh(seen)
    assert sum(classes.values()) == pytest.approx(1.0)
    assert list(classes.values()) == sorted(classes.values(), reverse=True)
    assert all(0.0 < share <= 1.0 for share in classes.values())
    assert classes.keys() <= CLASSES


@given(signs)
def test_less_flow_is_never_called_a_leak_and_more_never_a_blocked_tip(seen):
    classes = weigh(seen)
    assert classes.keys().isdisjoint(
        {"boom_leak", "meter_double", "foam"} if seen.shift < 0 else {"tip_blocked", "meter_low"}
    )


@given(signs)
def test_a_mix_is_thought_of_only_after_a_pause_and_only_as_far_as_a_mix_goes(seen):
    """What is measured beyond a mix's limit may be one only as far as the measuring is unsure."""
    classes = weigh(seen)
    if not seen.after_pause or abs(seen.shift) > MIX_LOG + 40.0 * seen.shift_sd:
        assert "mix_changed" not in classes


def test_a_mix_goes_as_far_as_a_seventh_of_the_density():
    assert exp(2 * MIX_LOG) - 1 == pytest.approx(0.146, abs=0.001)


@given(
    st.integers(2, 24),
    st.floats(0.25, 2.0),
    st.sampled_from([0.1, 0.15, 0.25, 0.4, 0.65, 1.0]),
    st.floats(0.001, 0.02),
)
def test_whose_pressure_answered_is_a_blocked_tip(tips, parts, share, sd):
    """Whatever the pump: the answer need only be three spreads away from none at all."""
    assume(parts < tips - 0.3)
    seen = blocked(tips, parts)
    seen = replace(seen, answer=PressureAnswer(-share * seen.shift, sd))
    assume(abs(seen.answer.moved) > 3.0 * (sd**2 + 0.003**2) ** 0.5)
    assert next(iter(weigh(seen))) == "tip_blocked"


@given(st.integers(2, 12), st.floats(0.25, 2.0))
def test_a_pressure_that_stayed_weighs_toward_the_meter(tips, parts):
    assume(parts < tips - 0.3)
    seen = blocked(tips, parts)
    answered, stayed = weigh(seen), weigh(replace(seen, answer=STAYED))
    unknown = weigh(replace(seen, answer=None))
    assert stayed["meter_low"] > unknown["meter_low"] > answered.get("meter_low", 0.0)


@pytest.mark.parametrize(("tips", "parts"), [(4, 0.6), (4, 1.5), (6, 1.4), (6, 2.5)])
def test_a_large_part_of_tips_whose_pressure_stayed_is_the_meter(tips, parts):
    assert next(iter(weigh(blocked(tips, parts, answer=STAYED)))) == "meter_low"


def test_what_the_pressure_cannot_tell_names_both():
    """Half of a tip of twelve moves a stiff regulator's pressure by little more than its noise."""
    seen = blocked(12, 0.5, answer=PressureAnswer(0.0, 0.003))
    classes = weigh(seen)
    assert classes["tip_blocked"] > 0.5
    assert classes["meter_low"] > 0.05


def test_a_whole_tip_is_likelier_than_a_part_next_to_it():
    def tip(parts: float) -> float:
        seen = blocked(6, parts, answer=None, roughness=None)
        return _LIKELIHOODS["tip_blocked"](seen)

    assert tip(1.0) > 2.0 * tip(0.8)
    assert tip(2.0) > 2.0 * tip(1.5)


def test_the_tips_likelihood_is_a_density_over_the_shift():
    """Over all the shifts that blocked tips can make it adds up to about one."""
    rows = np.linspace(log(1 - 5.99 / 6), -1e-4, 20_000)
    shares = [_LIKELIHOODS["tip_blocked"](Signs(6, x, 1e-3, None, None, False)) for x in rows]
    assert np.trapezoid(shares, rows) == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("shift", [0.1, 0.3, 0.55])
def test_more_flow_with_less_pressure_is_a_leak(shift):
    assert next(iter(weigh(more(shift)))) == "boom_leak"


@pytest.mark.parametrize("moved", [0.0, -0.004, 0.006])
def test_twice_the_flow_at_the_same_pressure_is_a_meter_that_counts_twice(moved):
    seen = more(log(2.0), answer=PressureAnswer(moved, 0.005))
    assert next(iter(weigh(seen))) == "meter_double"


def test_more_and_rough_flow_at_the_same_pressure_is_foam():
    seen = more(0.06, answer=STAYED, roughness=Roughness(6.0))
    assert next(iter(weigh(seen))) == "foam"


def test_as_much_more_flow_that_runs_smooth_is_no_foam():
    assert weigh(more(0.06, answer=STAYED, roughness=Roughness(1.0))).get("foam", 0.0) < 0.05


def test_how_rough_it_is_tells_nothing_while_too_short():
    with_foam = weigh(more(0.06, answer=STAYED, roughness=None))["foam"]
    assert 0.05 < with_foam < 0.95


@pytest.mark.parametrize("denser", [-0.12, -0.08, -0.05, 0.05, 0.08, 0.12])
@pytest.mark.parametrize("tips", [4, 6, 12])
def test_a_shift_that_came_with_the_pause_within_a_mixs_range_is_a_mix(tips, denser):
    """Its pressure was not compared: before the pause it was another day for the pump."""
    shift = -0.5 * log(1.0 + denser)
    seen = Signs(tips, shift, 0.003, None, QUIET, True)
    assert next(iter(weigh(seen))) == "mix_changed"


@pytest.mark.parametrize(("tips", "parts"), [(4, 0.5), (4, 1.0), (6, 0.5), (6, 1.0), (12, 1.0)])
def test_a_tip_that_is_more_than_a_mix_can_be_is_a_tip_even_after_a_pause(tips, parts):
    seen = blocked(tips, parts, after_pause=True)
    assert abs(seen.shift) > MIX_LOG
    assert next(iter(weigh(seen))) == "tip_blocked"


def test_a_part_of_a_tip_after_a_pause_says_that_it_may_be_either():
    """Half of a tip of twelve: 8.7 % of density, and the pressure may answer both."""
    classes = weigh(blocked(12, 0.5, after_pause=True))
    assert {"tip_blocked", "mix_changed"} <= classes.keys()
    assert min(classes["tip_blocked"], classes["mix_changed"]) > 0.02


def test_further_out_than_any_class_reaches_the_direction_is_all_that_is_left():
    assert weigh(Signs(6, -12.0, 0.001, PressureAnswer(9.0, 0.001), QUIET, False)) == {
        "tip_blocked": 1.0
    }
    assert weigh(Signs(6, 4.0, 0.001, PressureAnswer(9.0, 0.001), QUIET, False)) == {
        "boom_leak": 1.0
    }


@given(signs)
def test_an_answer_known_to_a_hundredfold_of_the_shift_is_as_good_as_none(seen):
    vague = weigh(replace(seen, answer=PressureAnswer(0.0, 100.0)))
    none = weigh(replace(seen, answer=None))
    assert vague.keys() == none.keys()
    for code, share in none.items():
        assert vague[code] == pytest.approx(share, abs=0.01)


known = st.dictionaries(st.sampled_from(sorted(CLASSES)), st.floats(0.01, 1.0), min_size=1).map(
    lambda shares: {code: share / sum(shares.values()) for code, share in shares.items()}
)


@given(known, signs, st.floats(-1.0, 1.0))
def test_after_a_growth_the_probabilities_add_up_to_one_too(before, seen, step):
    classes = reweigh(before, seen, step)
    assert sum(classes.values()) == pytest.approx(1.0)
    assert list(classes.values()) == sorted(classes.values(), reverse=True)


def test_two_tips_of_which_one_is_cleaned_are_no_meter():
    """The pressure fell with this change, which is how it answers a boom that passes more."""
    change = log(5 / 6) - log(4 / 6)
    seen = blocked(6, 1.0, answer=PressureAnswer(-0.4 * change, 0.005))
    classes = reweigh({"tip_blocked": 0.9, "meter_low": 0.1}, seen, change)
    assert classes["tip_blocked"] > 0.9
    assert next(iter(weigh(seen))) == "meter_low"


def test_a_growth_that_the_pressure_does_not_answer_leaves_what_was_known():
    """Or none that it could: the growth is a tenth of what the pressure's noise hides."""
    seen = blocked(12, 1.1, answer=PressureAnswer(0.0, 0.02), roughness=None)
    classes = reweigh({"tip_blocked": 0.7, "meter_low": 0.3}, seen, -0.005)
    assert classes["tip_blocked"] == pytest.approx(0.7, abs=0.01)


def test_a_class_that_does_not_reach_as_far_as_the_fault_grew_is_out():
    seen = Signs(6, 0.7, 0.01, None, None, False)
    assert reweigh({"foam": 0.9, "boom_leak": 0.1}, seen, 0.5) == {"boom_leak": 1.0}
    assert next(iter(reweigh({"foam": 1.0}, seen, 0.5))) == "meter_double"


def test_flow_that_is_rougher_than_any_foam_still_is_likelier_gas_than_a_quiet_leak():
    """The measure of roughness has a spread of its own: no hard edge."""
    for log_rough in np.linspace(0.0, 4.0, 41):
        classes = weigh(more(0.09, answer=STAYED, roughness=Roughness(exp(log_rough))))
        assert classes["foam"] > 1e-6
    assert classes["foam"] > 0.9


# -- what a capped tip taught ----------------------------------------------------------------


def test_a_learnt_answer_tells_half_a_tip_from_a_sensor_that_reads_low():
    """A centrifugal pump answers by 8 % or not at all; untaught, 2 % might be all of its answer."""
    learnt = answers_of(SupplyAnswer(0.6, 0.05))
    stayed = blocked(4, 0.5, answer=PressureAnswer(0.01, 0.006))
    untaught, taught = weigh(stayed), weigh(replace(stayed, answers=learnt))
    assert taught["meter_low"] > 0.9
    assert untaught["meter_low"] < taught["meter_low"]
    answered = replace(stayed, answer=PressureAnswer(0.08, 0.006), answers=learnt)
    assert weigh(answered)["tip_blocked"] > 0.99


def test_no_evidence_from_the_pressure_counts_for_more_than_a_regulator_that_sticks():
    """One in a hundred: a whole tip stays the likelier name, however still the pressure stood."""
    learnt = answers_of(SupplyAnswer(0.6, 0.01))
    still = blocked(6, 1.0, answer=PressureAnswer(0.0, 0.0005))
    least = weigh(replace(still, answers=learnt))["tip_blocked"]
    assert 0.005 < least < 0.5


def test_more_ticks_make_a_roughness_tell_more():
    """Leak or foam: three times the usual scatter, in five ticks and in fifty."""
    seen = Signs(6, 0.06, 0.004, None, None, False)
    few, many = (weigh(replace(seen, roughness=Roughness(3.0, ticks)))["foam"] for ticks in (5, 50))
    assert few < many


# -- gas ---------------------------------------------------------------------------------------


def test_what_the_samples_show_of_gulps_counts_in_place_of_the_ticks_roughness():
    """Rough ticks, but samples that do not wander as gas makes them: and the other way round."""
    seen = more(0.06, answer=None, roughness=Roughness(10.0, 8, -3.0))
    assert weigh(seen)["foam"] < 0.1
    assert weigh(replace(seen, roughness=Roughness(1.0, 8, 3.0)))["foam"] > 0.9
    assert weigh(replace(seen, roughness=Roughness(10.0, 8)))["foam"] > 0.5


@given(st.floats(-6.0, 6.0), st.floats(0.1, 3.0))
def test_evidence_for_gulps_multiplies_the_odds_of_foam(nats, more_nats):
    def odds(gulps: float) -> float:
        classes = weigh(more(0.06, answer=None, roughness=Roughness(None, 0, gulps)))
        return classes["foam"] / classes["boom_leak"]

    assert odds(nats + more_nats) / odds(nats) == pytest.approx(exp(more_nats), rel=1e-6)


def test_foam_moves_the_pressure_by_no_more_than_the_boom_would():
    """A gauge that fell by half of the shift behind a relief valve is no sign of gas."""
    learnt = answers_of(SupplyAnswer(0.15, 0.01))
    fell = more(0.09, answer=PressureAnswer(-0.045, 0.006), roughness=None, answers=learnt)
    none = replace(fell, answer=None)
    assert weigh(fell)["foam"] <= weigh(none)["foam"]


def test_gas_that_takes_the_liquids_place_moves_the_pressure_as_the_boom_does():
    """Steady state of a supply ln P = -s ln(Q / (1 - a)) and a boom ln P = 2 ln(Q / G), solved."""
    for slope in (0.05, 0.3, 1.0, 3.0):
        matrix = [[1.0, slope], [1.0, -2.0]]
        share = 2.0 * slope / (2.0 + slope)
        gas, _ = np.linalg.solve(matrix, [slope * log(0.95), 0.0])
        boom, _ = np.linalg.solve(matrix, [0.0, -2.0 * -log(0.95)])
        assert gas == pytest.approx(-share * -log(0.95))
        assert boom == pytest.approx(gas)


# -- another mix ---------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.0, 0.65, 1.0, 2.0])
def test_a_pressure_that_answers_as_pumps_answer_a_mix_leaves_it_the_likelier_one(share):
    """A valve that holds it, a pump that displaces, and one whose head follows the density."""
    learnt = answers_of(SupplyAnswer(0.65, 0.05))
    moved = PressureAnswer(-share * 0.05, 0.008)
    seen = Signs(6, 0.05, 0.008, moved, None, True, learnt)
    assert next(iter(weigh(seen))) == "mix_changed"


def test_the_head_of_a_pump_that_follows_the_density_answers_a_mix_by_twice_the_shift():
    """Supply ln P = ln(density) - s ln Q, boom ln P = 2 ln(Q / G), G as density^-0.5: solved."""
    lighter = log(0.9)
    for slope in (0.3, 1.0, 3.0):
        moved, _ = np.linalg.solve([[1.0, slope], [1.0, -2.0]], [lighter, lighter])
        assert moved == pytest.approx(-2.0 * (-0.5 * lighter))
