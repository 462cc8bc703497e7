"""When somebody who has seen an alert has to see it again."""

from __future__ import annotations

from flowlog.monitor.outputs import Event, Position
from flowlog.review.live_state import news_of

AT = Position(0, 10, 1_000_000)


def said(change: str, code: str = "tip_blocked", alert: str = "boom/1", **details: float) -> Event:
    return Event(alert, code, change, AT, AT, "what it is", details=details)


def test_an_alert_that_grows_is_news():
    assert news_of([said("opened"), said("grew")]) == {"boom/1": 2}


def test_the_same_thing_measured_better_is_none():
    assert news_of([said("opened"), said("grew", surer=1.0)]) == {"boom/1": 1}


def test_what_turns_out_to_be_another_thing_is_news_however_sure_it_became():
    assert news_of([said("opened"), said("grew", "boom_leak", surer=1.0)]) == {"boom/1": 2}


def test_alerts_count_by_themselves_and_clearing_counts_for_nothing():
    events = [said("opened"), said("opened", alert="boom/2"), said("cleared")]
    assert news_of(events) == {"boom/1": 1, "boom/2": 1}
