"""Student's t and Fisher's F against the published table and against scipy."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.calibration.student import f_tail, t_coverage, t_tails
from flowlog.calibration.uncertainty import LEVEL

# JCGM 100:2008, table G.2; the figures are written down from memory.
TABLE_95 = {1: 12.71, 2: 4.30, 3: 3.18, 5: 2.57, 10: 2.23, 20: 2.09, 50: 2.01, math.inf: 1.960}
TABLE_95_45 = {1: 13.97, 2: 4.53, 3: 3.31, 5: 2.65, 10: 2.28, 20: 2.13, 50: 2.05, math.inf: 2.000}


@pytest.mark.parametrize(("dof", "factor"), TABLE_95.items())
def test_the_factors_for_95_percent_are_those_of_the_guides_table(dof: float, factor: float):
    assert t_coverage(0.95, dof) == pytest.approx(factor, abs=0.0051)


@pytest.mark.parametrize(("dof", "factor"), TABLE_95_45.items())
def test_the_factors_used_here_are_those_of_the_guides_table(dof: float, factor: float):
    assert t_coverage(LEVEL, dof) == pytest.approx(factor, abs=0.0051)


def test_two_runs_alone_would_make_an_interval_of_no_use():
    assert t_coverage(0.95, 1.0) == pytest.approx(12.706, abs=5e-4)


def test_quantiles_are_those_of_scipy():
    stats = pytest.importorskip("scipy.stats")
    for dof in (1.0, 1.5, 2.0, 4.7, 11.0, 60.0, 1e3, 1e6):
        for level in (0.5, 0.68, 0.95, 0.9545, 0.99, 0.999):
            expected = float(stats.t.ppf(0.5 + level / 2, dof))
            assert t_coverage(level, dof) == pytest.approx(expected, rel=1e-8)


def test_tails_of_f_are_those_of_scipy():
    stats = pytest.importorskip("scipy.stats")
    for f in (0.1, 1.0, 3.0, 10.0):
        for above, below in ((1, 10), (2, 12.5), (4, 30), (3, 1e6)):
            expected = float(stats.f.sf(f, above, below))
            assert f_tail(f, above, below) == pytest.approx(expected, rel=1e-8)


@given(st.floats(0.05, 0.999), st.floats(0.5, 1e6))
def test_the_factor_leaves_exactly_the_rest_in_the_tails(level: float, dof: float):
    assert t_tails(t_coverage(level, dof), dof) == pytest.approx(1.0 - level, rel=1e-7)


@pytest.mark.parametrize(("level", "dof"), [(0.0, 5.0), (1.0, 5.0), (0.95, 0.0), (0.95, -1.0)])
def test_a_level_or_degrees_of_freedom_that_cannot_be_are_refused(level: float, dof: float):
    with pytest.raises(ValueError, match="no coverage factor"):
        t_coverage(level, dof)
