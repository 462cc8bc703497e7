"""The life of an alert, whatever it is called."""

from __future__ import annotations

import pytest

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.codes import CODES
from flowlog.monitor.outputs import Position


def place(second: int) -> Position:
    return Position(0, 10 * second, 1_000_000 * second)


def opened(code: str = "tip_blocked") -> AlertBook:
    book = AlertBook()
    book.open(code, place(20), place(18), "One tip.", Size(1.0, "tips", 0.8, 1.2))
    return book


def test_an_alert_is_named_by_its_code_and_its_place_in_the_stream():
    (event,) = opened().take()
    assert event.alert == "tip_blocked.0.200"
    assert (event.change, event.at, event.since) == ("opened", place(20), place(18))
    assert event.checks == CODES["tip_blocked"].checks


def test_what_is_open_does_not_open_again():
    book = opened()
    book.open("tip_blocked", place(30), place(30), "One tip.")
    assert len(book.take()) == 1


def test_a_renamed_alert_keeps_its_name_and_its_onset_under_its_new_code():
    book = opened()
    assert book.rename("tip_blocked", "meter_low")
    book.grow("meter_low", place(25), "The meter.")
    book.clear("meter_low", place(60), "Over.")
    first, grew, cleared = book.take()
    assert {event.alert for event in (first, grew, cleared)} == {"tip_blocked.0.200"}
    assert {event.since for event in (first, grew, cleared)} == {place(18)}
    assert [event.code for event in (first, grew, cleared)] == [
        "tip_blocked",
        "meter_low",
        "meter_low",
    ]
    assert grew.checks == CODES["meter_low"].checks


def test_after_a_rename_another_alert_of_the_first_code_may_open():
    book = opened()
    book.rename("tip_blocked", "meter_low")
    book.open("tip_blocked", place(40), place(40), "Another tip.")
    assert len({event.alert for event in book.take()}) == 2
    assert book.is_open("tip_blocked")
    assert book.is_open("meter_low")


def test_of_one_code_only_one_is_open_so_a_rename_to_an_open_one_is_refused():
    book = opened()
    book.open("meter_low", place(30), place(30), "The meter.")
    assert not book.rename("tip_blocked", "meter_low")
    book.clear("tip_blocked", place(40), "Over.")
    assert book.take()[-1].alert == "tip_blocked.0.200"
    assert book.is_open("meter_low")


def test_what_is_noted_twice_at_one_place_has_two_names():
    book = AlertBook()
    for _ in range(2):
        book.note("mix_changed", place(20), place(20), "Another mix.")
    first, second = book.take()
    assert first.alert != second.alert
    assert not book.is_open("mix_changed")


def test_clearing_what_is_not_open_says_nothing():
    book = AlertBook()
    book.clear("tip_blocked", place(20), "Over.")
    assert book.take() == []


def test_growing_what_is_not_open_is_a_mistake_of_the_caller():
    with pytest.raises(KeyError):
        AlertBook().grow("tip_blocked", place(20), "Two tips.")
