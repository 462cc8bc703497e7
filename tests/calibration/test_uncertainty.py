"""Budgets against the library `uncertainties`, against Monte Carlo, and by their own rules."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from flowlog.calibration.uncertainty import (
    Component,
    Prior,
    budget,
    combine,
    counted,
    pooled,
    power,
    scatter_beyond,
    within,
)

SIZES = st.floats(0.1, 1e3)
SHARES = st.floats(1e-4, 0.1)


def product(factors):
    value = math.prod(x**p for x, _, p in factors)
    parts = [power(f"x{i}", x, s * x, value, p) for i, (x, s, p) in enumerate(factors)]
    return budget("product", value, None, parts)


@given(st.lists(st.tuples(SIZES, SHARES, st.sampled_from([-1.0, 0.5, 1.0, 2.0])), min_size=1,
                max_size=6))  # fmt: skip
def test_a_product_of_powers_is_that_of_the_library(factors):
    theirs = math.prod((ufloat(x, s * x) ** p for x, s, p in factors), start=1.0)
    ours = product(factors)
    assert ours.value == pytest.approx(theirs.nominal_value, rel=1e-9)
    assert ours.u == pytest.approx(theirs.std_dev, rel=1e-9)
    assert sum(ours.shares()) == pytest.approx(1.0)


@given(SIZES, SIZES, SHARES, SHARES, SHARES)
def test_what_two_catches_share_drops_out_of_their_quotient_as_in_the_library(a, b, sa, sb, jug):
    scale = ufloat(1.0, jug)
    theirs = ufloat(a, sa * a) * scale / (ufloat(b, sb * b) * scale)

    def catch(name: str, value: float, share: float):
        return budget(name, value, None, [
            power(f"reading {name}", value, share * value, value),
            power("jug's scale (common)", 1.0, jug, value, common=True),
        ])  # fmt: skip

    ours = combine("quotient", a / b, None, [(catch("a", a, sa), 1.0), (catch("b", b, sb), -1.0)])
    assert ours.u == pytest.approx(theirs.std_dev, rel=1e-9)
    assert ours.relative == pytest.approx(math.hypot(sa, sb), rel=1e-9)


@given(SIZES, SHARES)
def test_what_two_results_share_adds_up_in_their_product(value, share):
    one = budget("x", value, None, [power("scale", 1.0, share, value, common=True)])
    ours = combine("square", value**2, None, [(one, 1.0), (one, 1.0)])
    assert ours.relative == pytest.approx(2.0 * share)


def test_components_that_are_not_common_stay_apart_even_under_one_name():
    one = budget("x", 1.0, None, [power("reading", 1.0, 0.01, 1.0)])
    assert combine("x/x", 1.0, None, [(one, 1.0), (one, -1.0)]).u == pytest.approx(0.01 * 2**0.5)


def test_a_budget_agrees_with_monte_carlo():
    # 40,000 draws: the deviation of a standard deviation is 0.35 %.
    rng = random.Random(20)
    factors = [(16.0, 0.02, 1.0), (17.05, 0.013, -1.0), (40.0, 0.05, 0.5), (3.0, 0.008, -2.0)]
    ours = product(factors)
    draws = [math.prod(rng.gauss(x, s * x) ** p for x, s, p in factors) for _ in range(40_000)]
    mean = math.fsum(draws) / len(draws)
    deviation = math.sqrt(math.fsum((d - mean) ** 2 for d in draws) / (len(draws) - 1))
    print(f"\nu: budget {ours.u:.6g}, Monte Carlo {deviation:.6g} (40,000 draws)")
    assert ours.u == pytest.approx(deviation, rel=0.015)


def test_welch_and_satterthwaite_bring_few_and_many_together():
    few = Component("few", 1.0, 0.3, 0.3, dof=1.0)
    assert budget("y", 1.0, None, [few]).dof == pytest.approx(1.0)
    many = Component("many", 1.0, 0.3, 0.3)
    both = budget("y", 1.0, None, [few, many])
    assert both.dof == pytest.approx(4.0)  # (2 * 0.09)^2 / (0.09^2 / 1)
    assert both.coverage == pytest.approx(2.87, abs=0.01)  # JCGM 100 table G.2, from memory
    assert budget("y", 1.0, None, [many]).coverage == pytest.approx(2.0, abs=1e-12)


def test_the_guides_own_example_of_effective_degrees_of_freedom():
    # JCGM 100:2008, G.4.1 example: three inputs of 0.25, 0.57, 0.82 % with 9, 4 and 14 degrees of
    # freedom give 1.03 % and 19. Written down from memory.
    parts = [
        Component(name, 1.0, u, u, dof)
        for name, u, dof in (("a", 0.0025, 9.0), ("b", 0.0057, 4.0), ("c", 0.0082, 14.0))
    ]
    whole = budget("y", 1.0, None, parts)
    assert whole.relative == pytest.approx(0.0103, abs=5e-5)
    assert whole.dof == pytest.approx(19.0, abs=0.05)


def test_two_runs_lean_on_the_prior_and_many_runs_on_themselves():
    prior = Prior(0.3, 10.0)
    s, dof = pooled([[17.0, 17.0]], prior)
    assert (s, dof) == (pytest.approx(0.3 * math.sqrt(10 / 11)), 11.0)
    rng = random.Random(1)
    s, dof = pooled([[rng.gauss(17.0, 0.1) for _ in range(1000)]], prior)
    assert s == pytest.approx(0.1, rel=0.1)
    assert dof == 1009.0


def test_without_a_prior_one_run_says_nothing_of_the_scatter():
    s, dof = pooled([[17.0]])
    assert math.isnan(s)
    assert dof == 0.0


def test_what_is_in_the_budget_already_is_not_counted_twice():
    s, dof = scatter_beyond([[1.0, 1.5, 2.0]], Prior(0.3, 4.0), 0.4)
    whole = math.sqrt((4.0 * (0.3**2 + 0.4**2) + 0.5) / 6.0)
    assert math.hypot(s, 0.4) == pytest.approx(whole)
    assert dof == pytest.approx(6.0 * (s / whole) ** 4)
    assert scatter_beyond([[1.0, 1.0, 1.0]] * 9, Prior(0.01, 1.0), 0.4) == (0.0, math.inf)


def test_bounds_and_counts_become_standard_uncertainties():
    # JCGM 100:2008, 4.3.7 and 4.3.9: a/sqrt(3) and a/sqrt(6).
    assert within(0.25) == pytest.approx(0.144338, abs=1e-6)
    assert counted(100) == pytest.approx(0.408248, abs=1e-6)


def test_the_table_names_value_uncertainty_and_share_and_ends_with_the_result():
    parts = [
        power("width", 4.064, 0.02346, 1.0, -1.0, kind="length"),
        power("count", 1000.0, 2.0, 1.0),
    ]
    rows = budget("rate", 1.0, None, parts).rows("metric")
    assert rows[0] == ("width", "4.06 m", "0.023 m", "89 %")
    assert rows[1][0] == "count"
    assert rows[-1][0] == "rate"
    assert rows[-1][3] == "100 %"


def test_a_component_that_adds_nothing_is_not_listed():
    assert budget("y", 1.0, None, [power("x", 1.0, 0.0, 1.0)]).components == ()
