"""Conditions and events in words."""

from __future__ import annotations

import logging

import pytest

from flowlog.daemon.codes import CODES
from flowlog.daemon.health import Facts, assess
from flowlog.daemon.logs import set_up
from flowlog.daemon.telling import conditions, log_event, sentence, set_by
from flowlog.monitor.outputs import Event, Position

S = 1_000_000
HERE = Position(0, 0, 0)


def holding(now_s: int = 101, **changes) -> dict[str, str]:
    """Codes that hold and the sentences that open their alerts."""
    facts = Facts(0, port="/dev/board", port_open=True, bytes_us=100 * S, sample_us=100 * S)
    facts.store_us = now_s * S
    for name, value in changes.items():
        setattr(facts, name, value)
    found = conditions(facts, assess(facts, now_s * S), now_s * S)
    return {code: text for code, holds, text, _ in found if holds}


def test_when_all_is_well_nothing_holds():
    assert holding() == {}


def test_a_lost_port_is_not_also_silent_or_unreadable():
    found = holding(200, port_open=False, port_fault="/dev/board: no such port")
    assert found == {"port_lost": "/dev/board: no such port."}


def test_a_board_that_says_nothing_is_silent():
    assert holding(200) == {"data_silent": "Port /dev/board is open and silent."}


def test_bytes_without_samples_are_unreadable():
    found = holding(200, bytes_us=200 * S)
    assert list(found) == ["data_unreadable"]


def test_a_port_that_was_just_opened_is_given_time():
    assert holding(200, bytes_us=200 * S, port_us=199 * S) == {}


def test_a_store_that_fails_and_a_full_disk_are_two_things():
    assert list(holding(store_fault="locked")) == ["store_failing"]
    assert list(holding(disk_low=True)) == ["disk_low"]


def test_a_broker_that_is_away_names_the_reason():
    found = holding(broker_used=True, broker_fault="connection refused")
    assert found == {"broker_away": "Broker away: connection refused."}


def test_every_condition_is_a_code_of_ours():
    facts = Facts(0)
    assert {code for code, *_ in conditions(facts, assess(facts, 0), 0)} <= set(CODES)


@pytest.mark.parametrize(
    ("step_us", "words"),
    [
        (3 * 365.25 * 86_400 * S, "forward by 3.0 years"),
        (-3600 * S * 3, "back by 3.0 hours"),
        (-600_000, "back by 0.6 s"),
        (90 * S, "forward by 90.0 s"),
        (5 * 86_400 * S, "forward by 5.0 days"),
    ],
)
def test_a_step_is_told_in_a_unit_that_fits(step_us, words):
    assert set_by(int(step_us)) == words


def test_a_clause_becomes_a_sentence():
    assert sentence("port x is back") == "Port x is back."
    assert sentence("Done.") == "Done."


@pytest.mark.parametrize(
    ("code", "change", "level"),
    [
        ("tip_blocked", "opened", logging.ERROR),
        ("tip_blocked", "grew", logging.ERROR),
        ("tank_low", "opened", logging.WARNING),
        ("tip_blocked", "cleared", logging.INFO),
        ("board_reset", "noted", logging.INFO),
    ],
)
def test_each_event_is_one_line_as_loud_as_it_is_urgent(caplog, code, change, level):
    caplog.set_level(logging.DEBUG, "flowlog")
    log_event(Event("a", code, change, HERE, HERE, "One tip of 8 blocked.", ("Walk the boom.",)))
    (record,) = caplog.records
    assert record.levelno == level
    assert "One tip of 8 blocked." in record.getMessage()
    assert "\n" not in record.getMessage()
    assert ("Walk the boom." in record.getMessage()) == (change in ("opened", "grew"))


def test_two_restarts_of_the_board_close_together_are_two_lines(capsys):
    top = logging.getLogger("flowlog")
    kept = (list(top.handlers), top.propagate, top.level)
    try:
        set_up(False, {"NOTIFY_SOCKET": "/run/x"})
        for cause in ("power", "brown-out"):
            text = f"The board restarted ({cause})."
            log_event(Event("a", "board_reset", "noted", HERE, HERE, text))
        lines = capsys.readouterr().err.splitlines()
    finally:
        top.handlers[:], top.propagate = kept[0], kept[1]
        top.setLevel(kept[2])
    assert [line.split("restarted ")[-1] for line in lines] == ["(power).", "(brown-out)."]
