"""Own calibrations in place of what is usual for a class of sensors."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.monitor.accuracy import ASSUMED, Basis, Own, budget
from flowlog.rig.model import Board, Boom, Gauge, Meter, Rig, Tip, Wheel, Work

RIG = Rig(
    name="Rig",
    boom=Boom(6, 0.5, Tip(3e-5, 276e3), 100e3, 350e3),
    work=Work(rate_m3_m2=6e-5, speed_m_s=1.0),
    meter=Meter(450e3, 3e-5, 5e-4),
    gauge=Gauge(690e3),
    board=Board("/dev/null"),
)
FLOWS = (1.5e-4, 2.0e-4)
"""Around the 1.8e-4 m3/s that this rig expects."""
OWN = Basis(Own(0.008, "2026-05-04 07:12"), FLOWS, Own(0.01, "2026-05-03 18:00"))


def parts(basis: Basis, quantity: str = "rate", **more: float | None) -> dict[str, float]:
    found = budget(RIG, 1_000_000, quantity, basis, **more).contributions  # type: ignore[arg-type]
    return {part.cause: part.relative for part in found}


def test_the_meters_own_calibration_takes_the_place_of_what_is_usual_for_its_class() -> None:
    own = parts(OWN, "volume")
    assert own["the meter's calibration"] == 0.008
    assert "the meter's linearity" not in own
    assert parts(ASSUMED, "volume")["the meter's linearity"] == pytest.approx(0.02 / 3**0.5)


def test_a_volume_is_then_as_sure_as_that_calibration_its_repeatability_and_the_count() -> None:
    known = budget(RIG, 1000, "volume", OWN)
    by_hand = math.hypot(0.008, 0.005, 1 / math.sqrt(6) / 1000)
    assert known.relative == pytest.approx(by_hand, rel=1e-12)
    assert known.sentence() == (
        "volume is sure to about +-2 % (95 %); most of it is the meter's calibration: "
        "your own calibration of 2026-05-04 07:12"
    )


@pytest.mark.parametrize(("flow", "outside"), [(1.1e-4, True), (1.3e-4, False), (2.6e-4, True)])
def test_at_a_flow_that_was_not_calibrated_the_meters_linearity_counts_again(
    flow: float, outside: bool
) -> None:
    assert ("the meter's linearity" in parts(OWN, "volume", flow_m3_s=flow)) is outside


def test_the_flow_that_the_rig_expects_stands_in_for_one_that_was_not_measured() -> None:
    far = dataclasses.replace(OWN, meter_flows_m3_s=(1e-5, 2e-5))
    assert "the meter's linearity" in parts(far, "volume", flow_m3_s=None)
    assert "the meter's linearity" not in parts(OWN, "volume", flow_m3_s=None)


def test_a_course_says_how_fast_one_drove_then_and_not_how_fast_on_the_route() -> None:
    known = parts(OWN, "area")
    assert known["the course's speed"] == 0.01
    assert known["the ground speed"] == pytest.approx(0.05 / 3**0.5)
    reasons = [part.because for part in budget(RIG, 0, "area", OWN).contributions]
    assert any("2026-05-03 18:00" in reason for reason in reasons)
    assert any("not measured" in reason and "your course" in reason for reason in reasons)


def test_a_rig_with_a_wheel_does_not_go_by_the_course() -> None:
    wheeled = dataclasses.replace(RIG, wheel=Wheel(40.0))
    causes = [part.cause for part in budget(wheeled, 10, "area", OWN).contributions]
    assert causes == ["the ground speed", "the effective width"]


def test_every_part_says_whether_it_is_ones_own_or_assumed() -> None:
    own = {part.cause for part in budget(RIG, 1000, "rate", OWN).contributions if part.own}
    assert own == {"the meter's calibration", "the course's speed", "counting"}
    assumed = {part.cause for part in budget(RIG, 1000).contributions if part.own}
    assert assumed == {"counting"}


@given(st.floats(1e-4, 0.2), st.floats(1e-4, 0.2), st.integers(1, 10**9))
def test_a_rate_is_never_surer_than_any_of_its_parts(meter: float, speed: float, n: int) -> None:
    basis = Basis(Own(meter, "then"), FLOWS, Own(speed, "then"))
    known = budget(RIG, n, "rate", basis)
    assert known.relative >= max(part.relative for part in known.contributions)
    assert known.largest.relative == max(part.relative for part in known.contributions)
