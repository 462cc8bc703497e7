"""The daemon's own alerts: patient, and never flapping."""

from __future__ import annotations

from flowlog.daemon.codes import CODES
from flowlog.daemon.ownalerts import CALM_S, PATIENCE_S, OwnAlerts
from flowlog.monitor.codes import CODES as MONITOR_CODES
from flowlog.monitor.outputs import Position

HERE = Position(0, 5, 500_000)
S = 1_000_000


def see(alerts: OwnAlerts, holds: bool, second: float):
    return alerts.see("port_lost", holds, "The port is gone.", "It is back.", HERE, int(second * S))


def test_an_alert_opens_after_its_patience_and_names_when_it_began():
    alerts = OwnAlerts()
    assert see(alerts, True, 0) is None
    assert see(alerts, True, 2.9) is None
    event = see(alerts, True, 3.0)
    assert event is not None
    assert (event.change, event.code, event.since) == ("opened", "port_lost", HERE)
    assert see(alerts, True, 60) is None


def test_a_short_outage_is_no_alert():
    alerts = OwnAlerts()
    assert see(alerts, True, 0) is None
    assert see(alerts, False, 1) is None
    assert see(alerts, True, 2) is None
    assert see(alerts, True, 4) is None


def test_it_clears_once_it_is_gone_for_a_while_under_the_same_name():
    alerts = OwnAlerts()
    see(alerts, True, 0)
    opened = see(alerts, True, 10)
    assert see(alerts, False, 11) is None
    assert see(alerts, True, 11.5) is None
    assert see(alerts, False, 12) is None
    cleared = see(alerts, False, 12 + CALM_S)
    assert cleared.change == "cleared"
    assert cleared.alert == opened.alert


def test_each_alert_has_a_name_of_its_own_even_over_a_restart():
    alerts = OwnAlerts()
    see(alerts, True, 0)
    first = see(alerts, True, 10)
    see(alerts, False, 20)
    cleared = see(alerts, False, 30)
    again = OwnAlerts([first, cleared])
    see(again, True, 0)
    second = see(again, True, 10)
    assert second.alert != first.alert


def test_an_alert_open_at_a_restart_is_not_opened_again_but_cleared():
    alerts = OwnAlerts()
    see(alerts, True, 0)
    first = see(alerts, True, 10)
    again = OwnAlerts([first])
    assert again.is_open("port_lost")
    assert see(again, True, 100) is None
    assert see(again, False, 101) is None
    cleared = see(again, False, 110)
    assert (cleared.change, cleared.alert) == ("cleared", first.alert)


def test_every_condition_with_a_patience_has_words_and_no_code_means_two_things():
    assert set(PATIENCE_S) <= set(CODES)
    assert not set(CODES) & set(MONITOR_CODES)
