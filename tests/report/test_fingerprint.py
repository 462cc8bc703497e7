"""Other data, another fingerprint; the same data, the same one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.report.fingerprint import FingerprintError, beginning, fingerprint, grouped
from flowlog.store.rows import StopMark

MARK = StopMark("Park", "name", 1, 0, 5, "uid")


def columns(*rates: float) -> dict[str, np.ndarray]:
    count = len(rates)
    return {
        "rate_m3_m2": np.array(rates),
        "seq": np.arange(count),
        "phase": np.array(["spraying"] * count, dtype=np.str_),
    }


BASE = fingerprint(columns(1.0, 2.0, np.nan), {"marks": [MARK], "rig": ["text"]})


def test_it_is_sixty_four_digits_and_can_be_read_out_in_groups() -> None:
    assert len(BASE) == 64
    assert grouped(BASE).split() == [BASE[place : place + 8] for place in range(0, 64, 8)]


def test_the_same_data_gives_the_same_whatever_the_order_of_names_or_kind_of_nan() -> None:
    turned = dict(reversed(columns(1.0, 2.0, -np.nan).items()))
    assert fingerprint(turned, {"rig": ["text"], "marks": [MARK]}) == BASE


@given(st.lists(st.floats(), min_size=3, max_size=3))
def test_any_other_reading_gives_another(rates: list[float]) -> None:
    made = fingerprint(columns(*rates), {"marks": [MARK], "rig": ["text"]})
    same = np.array_equal(rates, [1.0, 2.0, np.nan], equal_nan=True)
    assert (made == BASE) == same


def test_a_renamed_stop_or_another_rig_file_gives_another() -> None:
    import dataclasses

    renamed = dataclasses.replace(MARK, name="Mill Lane")
    data = columns(1.0, 2.0, np.nan)
    made = {
        BASE,
        fingerprint(data, {"marks": [renamed], "rig": ["text"]}),
        fingerprint(data, {"marks": [MARK], "rig": ["texts"]}),
        fingerprint(data, {"marks": [], "rig": ["text"]}),
        fingerprint(columns(1.0, 2.0), {"marks": [MARK], "rig": ["text"]}),
    }
    assert len(made) == 5


def test_it_is_read_back_as_it_stands_on_paper_or_by_its_beginning() -> None:
    assert beginning(grouped(BASE).upper()) == BASE
    assert beginning(BASE[:8]) == BASE[:8]


@pytest.mark.parametrize("said", ["", "abc", "xyz12345", "a" * 65])
def test_what_is_no_fingerprint_is_refused_with_what_would_be_one(said: str) -> None:
    with pytest.raises(FingerprintError, match="8 to 64"):
        beginning(said)
