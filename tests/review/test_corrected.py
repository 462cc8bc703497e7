"""Corrections of stops: all that was sprayed stays, and any order of the post gives the same."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.monitor.stops import Span, find_stops
from flowlog.review.corrected import (
    chosen_calibrations,
    corrected,
    finds,
    held,
    new_tips,
    next_turn,
)
from flowlog.store.correction import (
    GiveArea,
    Merge,
    NewTips,
    Place,
    Rename,
    Split,
    Undo,
    UseCalibrations,
    body_of,
    kind_of,
)
from flowlog.store.rows import CorrectionRow

PAUSE_S = 3.0


def columns(phases):
    count = len(phases)
    phase = np.array(phases)
    working = (phase == "spraying") | (phase == "settling")
    return {
        "segment": np.arange(count) // 40,
        "seq": np.arange(count) * 10,
        "t_us": (np.arange(count) % 40 + 1) * 1_000_000,
        "seconds": np.ones(count),
        "phase": phase,
        "area_m2": np.where(working, 4.0, 0.0),
        "volume_m3": np.where(phase == "off", 0.0, 1.0),
    }


def course(*parts):
    return columns([phase for phase, length in parts for _ in range(length)])


TWO_STOPS = course(("off", 2), ("spraying", 10), ("draining", 1), ("off", 5), ("spraying", 8))


def place(found, index) -> Place:
    return Place(int(found["segment"][index]), int(found["t_us"][index]))


def row(said, turn=1, uid=None) -> CorrectionRow:
    name = uid or f"uid{turn:04d}"
    return CorrectionRow(name, "route", turn, kind_of(said), 0, "somebody", "", body_of(said))


def stops_after(found, *sayings) -> list[Span]:
    rows = [row(said, turn) for turn, said in enumerate(sayings, 1)]
    spans = find_stops(found, [], PAUSE_S)[0]
    return corrected(found, spans, held(rows))


phases = st.lists(
    st.tuples(st.sampled_from(["off", "settling", "spraying", "draining"]), st.integers(1, 6)),
    min_size=1,
    max_size=25,
).map(lambda parts: course(*parts))


@st.composite
def sayings(draw, found, most=6):
    places = st.integers(0, len(found["phase"]) - 1).map(lambda index: place(found, index))
    one = st.one_of(
        st.builds(Split, places),
        st.builds(Merge, places),
        st.builds(Rename, places, st.none() | st.sampled_from(["north", "south"])),
        st.builds(GiveArea, places, st.none() | st.floats(1.0, 1e4)),
    )
    return draw(st.lists(one, max_size=most))


@settings(deadline=None)
@given(st.data(), phases)
def test_whatever_is_split_and_merged_all_that_was_sprayed_is_in_exactly_one_stop(data, found):
    before = find_stops(found, [], PAUSE_S)[0]
    after = stops_after(found, *data.draw(sayings(found)))
    for earlier, later in itertools.pairwise(after):
        assert earlier.last < later.first
    for stop in after:
        assert found["area_m2"][stop.first] > 0
        assert found["phase"][stop.last] != "off"

    def total(stops, name):
        return sum(found[name][stop.first : stop.last + 1].sum() for stop in stops)

    assert total(after, "area_m2") == total(before, "area_m2") == found["area_m2"].sum()
    # Liquid that drained in a pause belongs to the stop before it, merged or not.
    assert total(after, "volume_m3") >= total(before, "volume_m3")


@settings(deadline=None)
@given(st.data(), phases)
def test_the_order_of_the_post_and_second_deliveries_change_nothing(data, found):
    rows = []
    for said in data.draw(sayings(found)):
        known = rows[: data.draw(st.integers(0, len(rows)))]
        uid = data.draw(st.uuids()).hex
        rows.append(row(said, next_turn(known), uid))
        if known and data.draw(st.booleans()):
            undo = Undo(data.draw(st.sampled_from(known)).uid)
            rows.append(row(undo, next_turn(rows), data.draw(st.uuids()).hex))
    spans = find_stops(found, [], PAUSE_S)[0]
    once = corrected(found, spans, held(rows))
    again = data.draw(st.permutations(rows))
    assert corrected(found, spans, held(again)) == once


@settings(deadline=None)
@given(st.data(), phases)
def test_what_is_undone_leaves_no_trace(data, found):
    told = data.draw(sayings(found))
    rows = [row(said, turn) for turn, said in enumerate(told, 1)]
    gone = data.draw(st.lists(st.sampled_from(rows), unique_by=lambda one: one.uid)) if rows else []
    undos = [row(Undo(one.uid), len(rows) + turn) for turn, one in enumerate(gone, 1)]
    spans = find_stops(found, [], PAUSE_S)[0]
    kept = [one for one in rows if one not in gone]
    assert corrected(found, spans, held([*rows, *undos])) == corrected(found, spans, held(kept))


@settings(deadline=None)
@given(st.data(), phases)
def test_what_would_change_nothing_is_told_beforehand(data, found):
    spans = find_stops(found, [], PAUSE_S)[0]
    for said in data.draw(sayings(found)):
        if not finds(found, spans, said):
            assert corrected(found, spans, held([row(said)])) == spans


def test_a_stop_is_renamed_wherever_in_it_the_place_lies():
    for index in (2, 7, 12):
        after = stops_after(TWO_STOPS, Rename(place(TWO_STOPS, index), "north"))
        assert [stop.name for stop in after] == ["north", None]


def test_a_place_outside_of_all_stops_or_of_the_route_changes_nothing():
    spans = find_stops(TWO_STOPS, [], PAUSE_S)[0]
    for at in (place(TWO_STOPS, 0), place(TWO_STOPS, 15), Place(0, 10**9), Place(7, 0)):
        assert not finds(TWO_STOPS, spans, Rename(at, "north"))
        assert stops_after(TWO_STOPS, Rename(at, "north"), Split(at), Merge(at)) == spans


def test_a_split_keeps_the_name_for_the_first_part_and_drops_the_area_of_the_whole():
    at = place(TWO_STOPS, 3)
    after = stops_after(
        TWO_STOPS, Rename(at, "north"), GiveArea(at, 50.0), Split(place(TWO_STOPS, 6))
    )
    assert [(stop.first, stop.last, stop.name, stop.given_area_m2) for stop in after] == [
        (2, 5, "north", None),
        (6, 12, None, None),
        (18, 25, None, None),
    ]


def test_merging_adds_a_given_area_to_a_counted_one():
    after = stops_after(TWO_STOPS, GiveArea(place(TWO_STOPS, 3), 50.0), Merge(place(TWO_STOPS, 18)))
    assert [(stop.first, stop.last, stop.given_area_m2) for stop in after] == [
        (2, 25, 50.0 + 8 * 4.0)
    ]
    assert stops_after(TWO_STOPS, Merge(place(TWO_STOPS, 18)))[0].given_area_m2 is None


def test_a_split_and_its_merging_give_the_stop_back():
    before = stops_after(TWO_STOPS)
    cut = place(TWO_STOPS, 6)
    assert stops_after(TWO_STOPS, Split(cut), Merge(cut)) == before


def test_the_first_stop_cannot_be_merged_with_anything_before_it():
    assert stops_after(TWO_STOPS, Merge(place(TWO_STOPS, 2))) == stops_after(TWO_STOPS)


def test_an_undoing_can_be_undone():
    rename = row(Rename(place(TWO_STOPS, 3), "north"), 1)
    undo = row(Undo(rename.uid), 2)
    redo = row(Undo(undo.uid), 3)
    spans = find_stops(TWO_STOPS, [], PAUSE_S)[0]
    names = [
        corrected(TWO_STOPS, spans, held(rows))[0].name
        for rows in ([rename], [rename, undo], [rename, undo, redo])
    ]
    assert names == ["north", None, "north"]


def test_a_correction_of_a_newer_program_is_kept_and_passed_over():
    newer = CorrectionRow("u", "route", 1, "repaint", 0, "somebody", "", {"colour": "red"})
    (found,) = held([newer])
    assert not found.holds
    assert corrected(TWO_STOPS, find_stops(TWO_STOPS, [], PAUSE_S)[0], [found])


@pytest.mark.parametrize(
    ("told", "chosen"),
    [
        ([], None),
        ([UseCalibrations(("a", "b"))], ("a", "b")),
        ([UseCalibrations(("a",)), UseCalibrations(())], ()),
        ([UseCalibrations(("a",)), UseCalibrations(None)], None),
        ([UseCalibrations(("a",)), Undo("uid0001")], None),
    ],
)
def test_the_last_choice_of_calibrations_holds(told, chosen):
    rows = [row(said, turn) for turn, said in enumerate(told, 1)]
    assert chosen_calibrations(held(rows)) == chosen


def test_new_tips_are_told_in_words():
    rows = [
        row(NewTips("all tips new"), 1),
        row(NewTips("wrong route"), 2),
        row(Undo("uid0002"), 3),
    ]
    assert new_tips(held(rows)) == ["all tips new"]
