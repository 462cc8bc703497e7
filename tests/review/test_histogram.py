"""Every judged second is counted once, at its deviation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.review.histogram import histogram
from flowlog.review.histogram_svg import described, histogram_svg


def columns(rates, seconds=None, phase="spraying"):
    rate = np.array(rates, dtype=np.float64)
    return {
        "rate_m3_m2": rate,
        "seconds": np.ones(len(rate)) if seconds is None else np.array(seconds),
        "phase": np.array([phase] * len(rate)),
    }


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0, 5), st.floats(0.1, 9)), min_size=1, max_size=80))
def test_no_second_is_lost_or_counted_twice(readings):
    rates, seconds = zip(*readings, strict=True)
    assert histogram(columns(rates, seconds), 1.0).total_s == pytest.approx(sum(seconds))


@settings(deadline=None)
@given(st.lists(st.floats(0, 5), min_size=1, max_size=80), st.sampled_from([0.05, 0.1]))
def test_the_part_within_a_band_is_that_of_the_summary(rates, share):
    away = [abs(rate - 1.0) for rate in rates]
    if any(abs(off - share) < 1e-9 for off in away):
        return  # at the edge itself the two may round differently
    within = sum(off < share for off in away) / len(rates)
    assert histogram(columns(rates), 1.0).within(share) == pytest.approx(within)


def test_the_edges_of_5_percent_count_as_within():
    assert histogram(columns([0.95, 1.05]), 1.0).within(0.05) == 1.0
    assert histogram(columns([0.94, 1.06]), 1.0).within(0.05) == 0.0


def test_what_is_not_settled_spraying_is_not_judged():
    found = histogram(columns([1.0, 1.0], phase="settling"), 1.0)
    assert found.total_s == 0
    assert found.within(0.05) is None
    assert "Nothing was sprayed" in described(found)
    assert histogram_svg(found).endswith("</svg>")


def test_far_off_is_counted_at_the_ends():
    found = histogram(columns([0.2, 3.0, 3.0]), 1.0)
    assert (found.below_s, found.above_s) == (1.0, 2.0)
    assert not found.seconds.any()


def test_a_part_of_the_route_can_be_taken_alone():
    found = histogram(columns([1.0, 2.0, 1.0, 2.0]), 1.0, 2, 2)
    assert (found.total_s, found.above_s) == (1.0, 0.0)
