"""Open alerts to lamp and buzzer."""

from __future__ import annotations

import pytest

from flowlog.daemon.alarm import FAST, OFF, REPEAT_US, SLOW, SOUND_US, Alarm
from flowlog.daemon.codes import urgency_of
from flowlog.monitor.outputs import Event, Position

HERE = Position(0, 0, 0)
S = 1_000_000


def event(code: str, change: str = "opened", *, alert: str | None = None, **details) -> Event:
    name = alert or f"{code}.0.1"
    return Event(name, code, change, HERE, HERE, "text", details=details)


def test_nothing_open_nothing_lit():
    assert Alarm().wanted(0) == (OFF, OFF)
    assert Alarm().due(0) is None


def test_an_alert_that_ruins_the_job_flashes_fast_and_sounds():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    assert alarm.wanted(0) == (FAST, FAST)


def test_an_alert_for_the_next_chance_flashes_slowly():
    alarm = Alarm()
    alarm.take(event("tank_low"), 0)
    assert alarm.wanted(0) == (SLOW, SLOW)


def test_the_buzzer_stops_and_the_lamp_stays():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    assert alarm.wanted(SOUND_US) == (FAST, OFF)


def test_growth_sounds_again():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.take(event("tip_blocked", "grew"), 60 * S)
    assert alarm.wanted(60 * S) == (FAST, FAST)


def test_a_size_that_is_only_measured_better_is_not_heard():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.take(event("tip_blocked", "grew", surer=1.0), 60 * S)
    assert alarm.wanted(60 * S) == (FAST, OFF)
    alarm.take(event("tip_blocked", "grew"), 70 * S)
    assert alarm.wanted(70 * S) == (FAST, FAST)


def test_a_better_measure_does_not_lengthen_the_sound_of_the_opening():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.take(event("tip_blocked", "grew", surer=1.0), 8 * S)
    assert alarm.wanted(9 * S) == (FAST, FAST)
    assert alarm.wanted(SOUND_US) == (FAST, OFF)


def test_an_alert_that_turns_out_to_be_something_else_is_heard_once():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    renamed = {"alert": "tip_blocked.0.1", "surer": 1.0}
    alarm.take(event("meter_low", "grew", **renamed), 60 * S)
    sound = FAST if urgency_of("meter_low") == "stop" else SLOW
    assert alarm.wanted(60 * S) == (sound, sound)
    alarm.take(event("meter_low", "grew", **renamed), 90 * S)
    assert alarm.wanted(90 * S) == (sound, OFF)


def test_a_renamed_alert_is_one_alert_and_clearing_it_puts_the_lamp_out():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.take(event("air_drawn", "grew", alert="tip_blocked.0.1"), 2 * S)
    alarm.take(event("air_drawn", "cleared", alert="tip_blocked.0.1"), 30 * S)
    assert alarm.wanted(30 * S) == (OFF, OFF)


def test_an_alert_that_turns_out_to_be_for_the_record_only_puts_the_lamp_out():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.take(event("board_reset", "grew", alert="tip_blocked.0.1"), 2 * S)
    assert alarm.wanted(2 * S) == (OFF, OFF)


def test_a_name_heard_before_a_restart_is_known_after_it():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0, replayed=True)
    alarm.take(event("tip_blocked", "grew", surer=1.0), 60 * S)
    assert alarm.wanted(60 * S) == (FAST, OFF)


def test_the_buzzer_is_quiet_once_every_open_alert_was_seen_and_the_lamp_stays():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.take(event("tank_low"), 0)
    alarm.seen("tank_low.0.1")
    assert alarm.wanted(1 * S) == (FAST, FAST)
    alarm.seen("tip_blocked.0.1")
    assert alarm.wanted(1 * S) == (FAST, OFF)


def test_an_alert_that_grows_after_it_was_seen_is_heard_again():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.seen("tip_blocked.0.1")
    alarm.take(event("tip_blocked", "grew"), 2 * S)
    assert alarm.wanted(2 * S) == (FAST, FAST)


def test_clearing_puts_it_out_and_the_board_is_told():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.sent(alarm.wanted(0), 0)
    alarm.take(event("tip_blocked", "cleared"), 1)
    assert alarm.due(1) == (OFF, OFF)
    alarm.sent((OFF, OFF), 1)
    assert alarm.due(100 * S) is None


@pytest.mark.parametrize("code", ["board_reset", "broker_away", "clock_set"])
def test_what_is_for_the_record_only_disturbs_nobody(code):
    alarm = Alarm()
    alarm.take(event(code), 0)
    alarm.take(event(code, "noted"), 0)
    assert alarm.wanted(0) == (OFF, OFF)


def test_a_board_that_was_connected_again_is_told_again():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.sent(alarm.wanted(0), 0)
    assert alarm.due(1) is None
    alarm.forget()
    assert alarm.due(1) == (FAST, FAST)


def test_a_lost_command_is_made_good_by_repeating():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0)
    alarm.sent((FAST, OFF), SOUND_US)
    assert alarm.due(SOUND_US + 1) is None
    assert alarm.due(SOUND_US + REPEAT_US) == (FAST, OFF)


def test_a_replayed_alert_lights_the_lamp_silently():
    alarm = Alarm()
    alarm.take(event("tip_blocked"), 0, replayed=True)
    assert alarm.wanted(0) == (FAST, OFF)
