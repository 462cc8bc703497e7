"""The gauge: zero and span, residuals, hysteresis, broken wires and slips."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.calibration.faults import CalibrationError
from flowlog.calibration.gauge import GaugeErrors, GaugePoint, GaugeResult, code_doubt, gauge
from flowlog.rig.model import Gauge

PSI = 6894.757
RIG = Gauge(100 * PSI)


def point(psi: float, zero_psi: float = 0.0, gain: float = 1.0, direction=None) -> GaugePoint:
    """What a transducer with these errors gives at a true pressure."""
    return GaugePoint(psi * PSI, 0.1 + 0.8 * (zero_psi + gain * psi) / 100.0, direction)


def codes(result: GaugeResult) -> list[str]:
    return [one.code for one in result.remarks]


@given(st.floats(-3.0, 3.0), st.floats(0.9, 1.1))
def test_zero_and_gain_are_given_back(zero_psi: float, gain: float):
    result = gauge([point(psi, zero_psi, gain) for psi in (0, 20, 40, 60)], RIG)
    assert result.zero_error_pa == pytest.approx(zero_psi * PSI, abs=0.1)
    assert result.gain_error == pytest.approx(gain - 1.0, abs=1e-9)
    assert result.zero_share == pytest.approx(0.1 + 0.008 * zero_psi)
    assert result.span_share == pytest.approx(0.1 + 0.008 * (zero_psi + 100.0 * gain))
    assert result.largest_residual_pa == pytest.approx(0.0, abs=1e-3)
    assert GaugeResult.from_json(result.to_json()) == result


@given(st.floats(-3.0, 3.0), st.floats(0.9, 1.1), st.floats(5.0, 90.0))
def test_the_calibrated_gauge_shows_the_true_pressure(zero_psi: float, gain: float, psi: float):
    result = gauge([point(p, zero_psi, gain) for p in (0, 50)], RIG)
    assert result.pressure_pa(point(psi, zero_psi, gain).share) == pytest.approx(psi * PSI)


def test_two_points_do_and_leave_nothing_to_check():
    result = gauge([point(0), point(50)], RIG)
    assert "two-points" in codes(result)
    assert "two-points" not in codes(gauge([point(0), point(30), point(50)], RIG))


def test_without_a_vented_point_the_zero_is_a_guess():
    with_zero = gauge([point(0), point(30), point(50)], RIG)
    without = gauge([point(20), point(30), point(50)], RIG)
    assert "no-zero" in codes(without)
    assert without.zero.u > 3.0 * with_zero.zero.u


def test_a_point_off_the_line_is_named():
    points = [point(0), point(20), GaugePoint(40 * PSI, 0.1 + 0.8 * 0.44), point(60), point(80)]
    result = gauge(points, RIG)
    assert "point 3" in next(one.text for one in result.remarks if one.code == "residual")
    assert result.residuals_pa[2] / PSI == pytest.approx(3.0, abs=0.6)
    assert result.zero.u > gauge([point(p) for p in (0, 20, 40, 60, 80)], RIG).zero.u


def test_hysteresis_is_found_where_the_pressure_went_up_and_down():
    up = [point(p, 0.0, direction="up") for p in (20, 40, 60)]
    down = [point(p, 1.5, direction="down") for p in (60, 40, 20)]
    result = gauge([point(0), *up, *down], RIG)
    assert result.hysteresis_pa == pytest.approx(1.5 * PSI, rel=0.03)
    assert "hysteresis" in codes(result)
    assert gauge([point(0), *up], RIG).hysteresis_pa is None


def test_a_zero_that_is_off_by_more_than_two_percent_of_the_span_is_remarked_on():
    assert "zero" in codes(gauge([point(p, 2.5) for p in (0, 30, 50)], RIG))
    assert "zero" not in codes(gauge([point(p, 1.2) for p in (0, 30, 50)], RIG))


@pytest.mark.parametrize("share", [0.0, 0.039, 0.961, 1.0])
def test_a_code_from_a_broken_wire_is_refused_by_its_point(share: float):
    assert code_doubt(share)
    with pytest.raises(CalibrationError, match="point 2: "):
        gauge([point(0), GaugePoint(40 * PSI, share)], RIG)


@pytest.mark.parametrize("share", [0.041, 0.1, 0.9, 0.959])
def test_a_code_inside_the_band_is_no_broken_wire(share: float):
    assert code_doubt(share) is None
    assert code_doubt(1.2)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([], "no point yet"),
        ([point(0)], "too near one another"),
        ([point(40), point(42)], "too near one another"),
        ([point(0), GaugePoint(-40 * PSI, 0.4)], "point 2: the reference cannot be below zero"),
        ([point(0), GaugePoint(math.nan, 0.4)], "point 2: the reference"),
        ([GaugePoint(0.0, 0.5), GaugePoint(40 * PSI, 0.2)], "does not rise"),
        ([point(0), GaugePoint(60 * PSI, 0.1 + 0.8 * 0.06)], "a tenth"),
        ([point(0), GaugePoint(70 * PSI, 0.1 + 0.8 * 0.5)], "0.714 times"),
        ([point(0), GaugePoint(12 * PSI, 0.1 + 0.8 * 0.83)], "in psi was probably given as kPa"),
    ],
)
def test_nonsense_is_refused_with_its_reason(points, words: str):
    with pytest.raises(CalibrationError, match=words):
        gauge(points, RIG)


def test_the_uncertainty_grows_away_from_the_points():
    result = gauge([point(p) for p in (0, 20, 40)], RIG)
    assert result.u_at(0.0) == pytest.approx(result.zero_u_pa)
    assert result.u_at(80 * PSI) > result.u_at(40 * PSI) > 0.0


def test_a_better_reference_makes_a_surer_gauge():
    points = [point(p) for p in (0, 20, 40)]
    rough = gauge(points, RIG)
    fine = gauge(points, RIG, errors=GaugeErrors(reading_pa=500.0, reference_share=0.001))
    assert fine.gain.u < 0.3 * rough.gain.u
