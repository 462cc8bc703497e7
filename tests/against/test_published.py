"""Every check of the register, one test each, and the table of them all (`pytest -s`)."""

from __future__ import annotations

import checks_calibration  # noqa: F401
import checks_courses  # noqa: F401
import checks_hydraulics  # noqa: F401
import checks_planning  # noqa: F401
import checks_units  # noqa: F401
import pytest
from register import CHECKS, Check, half_unit, table


@pytest.mark.parametrize("one", CHECKS, ids=str)
def test_flowlog_agrees_with_the_source(one: Check):
    assert one.faults(one.compute()) == []


@pytest.mark.parametrize("one", CHECKS, ids=str)
def test_the_check_would_notice_an_error(one: Check):
    value = one.compute()
    # The coarsest published figure has one place; 12 % is more than its rounding hides.
    assert one.faults(value * 1.12 + 1e-12) != []
    assert one.faults(value * 0.88 - 1e-12) != []


def test_every_check_names_its_source_and_the_table_shows_them_all():
    text = table(CHECKS)
    print("\n" + text)
    assert "DISAGREES" not in text
    for one in CHECKS:
        assert one.source.title
        assert one.source.standing == "derived" or one.source.publisher
        assert one.inputs in text


def test_the_last_figure_of_a_written_number_sets_its_tolerance():
    assert half_unit("20.068") == pytest.approx(0.0005)
    assert half_unit("600") == pytest.approx(0.5)
    assert half_unit("1.5e-6") == pytest.approx(5e-8)
