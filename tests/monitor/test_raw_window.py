"""The window of raw samples: what a tick may look back at."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from flowlog.monitor.outputs import Position
from flowlog.monitor.raw_window import KEPT, RawWindow
from flowlog.wire.unwrap import UNWRAPPED_FIELDS


def rows(n: int, segment: int = 0, first: int = 0) -> np.ndarray:
    table = np.zeros((n, len(UNWRAPPED_FIELDS)), dtype=np.int64)
    table[:, 0] = segment
    table[:, 1] = np.arange(first, first + n)
    table[:, 2] = table[:, 1] * 100_000
    return table


def at(seq: int, segment: int = 0) -> Position:
    return Position(segment, seq, seq * 100_000)


@given(st.lists(st.integers(1, 900), min_size=1, max_size=30), st.data())
def test_however_the_stream_is_cut_the_window_is_the_same(lengths, data):
    """Asked for any sample of the newest block, as the ticks of that block do."""
    table = rows(sum(lengths))
    cut, whole, begin = RawWindow(), RawWindow(), 0
    for length in lengths:
        cut.add(table[begin : begin + length])
        begin += length
    whole.add(table)
    asked = data.draw(st.integers(begin - lengths[-1], begin - 1))
    assert np.array_equal(cut.upto(at(asked)), whole.upto(at(asked)))


def test_the_window_ends_at_the_sample_asked_for_and_holds_what_is_kept():
    window = RawWindow()
    window.add(rows(5000))
    found = window.upto(at(3000))
    assert found[-1, 1] == 3000
    assert len(found) == KEPT


def test_samples_of_another_segment_are_left_out():
    window = RawWindow()
    window.add(rows(50, segment=0))
    window.add(rows(20, segment=1))
    assert set(window.upto(at(10, segment=1))[:, 0].tolist()) == {1}
    assert len(window.upto(at(49, segment=0))) == 50


def test_no_more_is_held_than_a_tick_may_ask_for():
    window = RawWindow()
    for first in range(0, 20_000, 10):
        window.add(rows(10, first=first))
    assert len(window.upto(at(19_999))) == KEPT
    assert window._rows < KEPT + 20


def test_an_empty_window_has_nothing():
    assert len(RawWindow().upto(at(3))) == 0
