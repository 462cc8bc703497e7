"""Fresh, stale and absent are decided in one place."""

from __future__ import annotations

import pytest

from flowlog.daemon.health import Facts, assess

S = 1_000_000


def facts(**changes) -> Facts:
    known = Facts(
        0, port="/dev/board", port_open=True, bytes_us=100 * S, sample_us=100 * S, store_us=100 * S
    )
    for name, value in changes.items():
        setattr(known, name, value)
    return known


def test_all_is_well():
    health = assess(facts(), 101 * S)
    assert (health.link.state, health.data.state, health.store.state) == ("fresh",) * 3
    assert health.broker.state == "unused"
    assert health.sentence() == "Samples arrive."


@pytest.mark.parametrize(
    ("age_s", "state"), [(0, "fresh"), (2, "fresh"), (3, "stale"), (10, "stale"), (11, "absent")]
)
def test_data_grows_old_and_is_never_shown_as_live(age_s, state):
    health = assess(facts(store_us=(100 + age_s) * S), (100 + age_s) * S)
    assert health.data.state == state
    if state != "fresh":
        assert health.sentence() == f"Last sample {age_s} s ago."


def test_no_sample_since_the_start_is_absent():
    assert assess(facts(sample_us=None), 101 * S).data.state == "absent"


def test_a_port_that_is_open_and_silent_is_stale_and_one_that_is_not_there_absent():
    assert assess(facts(), 110 * S).link.state == "stale"
    gone = assess(facts(port_open=False, port_fault="/dev/board: no such port"), 101 * S)
    assert gone.link.state == "absent"
    assert gone.sentence() == "/dev/board: no such port."


def test_a_store_that_fails_says_how_much_waits_in_memory():
    health = assess(facts(store_fault="disk full", store_held=420), 110 * S)
    assert health.store.state == "stale"
    assert "10 s (disk full), 420 samples wait in memory" in health.store.detail
    assert assess(facts(store_fault="disk full"), 200 * S).store.state == "absent"


def test_a_writer_that_hangs_is_stale_though_it_reports_no_fault():
    assert assess(facts(), 110 * S).store.state == "stale"


def test_a_full_disk_is_said():
    health = assess(facts(disk_low=True), 101 * S)
    assert health.store.state == "stale"
    assert "only events are kept" in health.sentence()


def test_a_broker_that_is_away_says_what_waits():
    health = assess(facts(broker_used=True, broker_fault="refused", broker_waiting=3), 101 * S)
    assert health.broker.state == "absent"
    assert health.broker.detail == "broker away: refused, 3 messages wait"
    assert assess(facts(broker_used=True, broker_connected=True), 101 * S).broker.state == "fresh"


def test_the_dict_holds_every_part():
    assert set(assess(facts(), 101 * S).as_dict()) == {"link", "data", "store", "broker"}
