"""What is read from the store while it grows becomes the live state."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from stored import BEGAN_US, RIG, RIG_TEXT, event_row, store_items
from stored import store_scenario as _store

from flowlog.monitor.codes import CODES
from flowlog.monitor.outputs import Event, Position
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.summary import alerts_of
from flowlog.review.live import LiveReader
from flowlog.review.live_state import freshness, onset_age_s, open_alerts, sure_words
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import find_scenario, read_scenario
from flowlog.store.errors import StoreMissingError
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, StopMark
from flowlog.wire.samples import Samples


@pytest.fixture(scope="module")
def outputs():
    """Readings and events of the morning scenario, with the route's second of each."""
    monitor, found = Monitor(RIG), []
    for item in simulate(read_scenario(find_scenario("morning"))).items:
        if isinstance(item, Samples):
            found += [monitor.feed(item[at : at + 100]) for at in range(0, len(item), 100)]
        else:
            found.append(monitor.feed(item))
    return found


def test_the_state_follows_the_store_as_it_grows(tmp_path, outputs):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT, wall_us=BEGAN_US)
    recorder.begin_run("boot", BEGAN_US, 0)
    route = recorder.begin_route(BEGAN_US)
    reader = LiveReader(tmp_path)
    state = reader.look(BEGAN_US, 100.0)
    assert (state.freshness, state.age_s, state.reading) == ("NO DATA", None, None)
    titles, last_area = set(), 0.0
    events = 0
    for number, output in enumerate(outputs):
        rows = []
        for event in output.events:
            rows.append(event_row(event, events, BEGAN_US + event.at.t_us))
            events += 1
        recorder.commit(
            Batch(
                route.id,
                readings=[(r, BEGAN_US + r.at.t_us) for r in output.readings],
                events=rows,
            )
        )
        if not output.readings:
            continue
        newest = output.readings[-1]
        state = reader.look(BEGAN_US + newest.at.t_us + 400_000, 100.0 + newest.at.t_us / 1e6 + 0.4)
        assert state.freshness == "LIVE"
        assert state.reading == newest
        assert state.route.area_m2 >= last_area - 1e-9
        last_area = state.route.area_m2
        titles |= {alert.title for alert in state.alerts}
        assert number < 10_000
    assert "Tip blocked" in titles
    assert state.route.area_m2 == pytest.approx(
        sum(reading.area_m2 for output in outputs for reading in output.readings), rel=0.01
    )
    assert state.stop.label == "STOP 3"
    gone = reader.look(BEGAN_US, 100.0 + newest.at.t_us / 1e6 + 60.0)
    assert gone.freshness == "NO DATA"
    assert gone.reading is None
    assert "board silent" in gone.advice
    recorder.close()
    assert "no daemon runs" in reader.look(BEGAN_US, 1e6).advice
    reader.close()


def test_the_age_does_not_follow_a_wall_clock_that_is_set(tmp_path):
    _store(tmp_path)
    reader = LiveReader(tmp_path)
    last_us = BEGAN_US + 857_000_000
    first = reader.look(last_us, 10.0).age_s
    assert first == pytest.approx(0.5, abs=1.0)
    assert reader.look(last_us + 10**15, 12.0).age_s == pytest.approx(first + 2.0)
    assert reader.look(last_us - 10**15, 13.0).age_s == pytest.approx(first + 3.0)
    reader.close()


def test_a_stop_is_called_by_its_newest_mark(tmp_path):
    mark = StopMark("Mill Lane 9", "name", BEGAN_US, 0, 500_000_000, "uid-1")
    last = StopMark("Green", "name", BEGAN_US, 0, 760_000_000, "uid-2")
    _store(tmp_path, marks=(mark, last))
    reader = LiveReader(tmp_path)
    assert reader.look(BEGAN_US, 0.0).stop.name == "Green"
    reader.close()


def test_a_store_that_vanishes_is_shown_as_missing_data(tmp_path, monkeypatch):
    _store(tmp_path)
    reader = LiveReader(tmp_path)
    reader.look_or_last(BEGAN_US, 0.0)

    def fails(*_):
        raise StoreMissingError("card pulled out")

    monkeypatch.setattr(reader, "look", fails)
    state = reader.look_or_last(BEGAN_US, 30.0)
    assert state.freshness == "NO DATA"
    assert state.reading is None
    assert state.advice == "card pulled out"
    reader.close()


def test_a_folder_without_a_database_is_refused(tmp_path):
    with pytest.raises(StoreMissingError):
        LiveReader(tmp_path)


def test_a_store_without_any_route_has_no_data(tmp_path):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    recorder.close()
    reader = LiveReader(tmp_path)
    state = reader.look(BEGAN_US, 0.0)
    assert state.freshness == "NO DATA"
    assert state.route is None
    reader.close()


@pytest.mark.parametrize(
    ("age_s", "word"),
    [
        (0.0, "LIVE"),
        (3.0, "LIVE"),
        (3.1, "LATE"),
        (10.0, "LATE"),
        (10.1, "NO DATA"),
        (None, "NO DATA"),
    ],
)
def test_freshness(age_s, word):
    assert freshness(age_s) == word


def alert_event(code="tip_blocked", **changes):
    event = Event(
        code, code, "opened", Position(0, 0, 0), Position(0, 0, 0), "Text.",
        size=1.0, size_low=0.8, size_high=1.2, size_unit="tips",
    )  # fmt: skip
    return replace(event, **changes)


def test_open_alerts_come_most_urgent_first_then_oldest_first():
    events = [alert_event(code) for code in ("tank_low", "rate_low", "tip_blocked", "lines_lost")]
    events.append(alert_event("lines_lost", change="cleared"))
    shown = open_alerts(alerts_of(events), [5.0, 6.0, 9.0, 1.0])
    assert [alert.title for alert in shown] == ["Tip blocked", "Rate low", "Tank low"]
    assert shown[0].checks == CODES["tip_blocked"].checks


def test_an_alert_of_an_unknown_code_is_shown_all_the_same():
    (shown,) = open_alerts(alerts_of([alert_event("from_the_future")]), [None])
    assert (shown.title, shown.urgency) == ("from the future", "look")


def test_how_sure_a_size_is():
    (alert,) = alerts_of([alert_event()])
    assert sure_words(alert) == "95 % sure: 0.8 to 1.2 tips"
    (alert,) = alerts_of([alert_event(size_unit="share", size_low=0.1, size_high=0.15)])
    assert sure_words(alert) == "95 % sure: 10 to 15 %"
    (alert,) = alerts_of([alert_event(size_low=None)])
    assert sure_words(alert) == ""


def test_an_onset_is_dated_by_the_board_within_a_segment_and_by_the_wall_clock_otherwise(outputs):
    newest = next(output.readings[0] for output in outputs if output.readings)
    since = newest.at._replace(t_us=newest.at.t_us - 7_000_000)
    assert onset_age_s(since, 0, newest, 1.5, 0) == pytest.approx(8.5)
    other = since._replace(segment=5)
    assert onset_age_s(other, 1_000_000, newest, 1.5, 4_000_000) == pytest.approx(3.0)
    assert onset_age_s(other, 4_000_000, newest, 1.5, 1_000_000) is None


def test_an_empty_route_does_no_harm(tmp_path):
    store_items(tmp_path, [], ended=False)
    reader = LiveReader(tmp_path)
    assert reader.look(BEGAN_US, 0.0).freshness == "NO DATA"
    reader.close()
