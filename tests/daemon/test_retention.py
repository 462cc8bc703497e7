"""Raw samples that were kept long enough, in a real database."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.storing import RIG, RIG_TEXT, event_row, second_batch

from flowlog.cli import main
from flowlog.daemon.clock import Stamp
from flowlog.daemon.health import Facts
from flowlog.daemon.retention import Retention
from flowlog.store.archive import Archive
from flowlog.store.correction import Rename, Undo, UseCalibrations, body_of, kind_of
from flowlog.store.errors import StoreFullError
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, CorrectionRow

DAY_US = 86_400_000_000
NOW_US = 1_780_000_000_000_000
MINUTE_US = 60_000_000
DAYS = {"FLOWLOG_KEEP_RAW_DAYS": "7"}


class SetClock:
    def __init__(self) -> None:
        self.stamp = Stamp(NOW_US, MINUTE_US)
        self.sure: bool | None = True

    def now(self) -> Stamp:
        return self.stamp

    def later(self, us: int) -> None:
        self.stamp = Stamp(self.stamp.wall_us + us, self.stamp.monotonic_us + us)

    def host_boot(self) -> str:
        return "boot"

    def synchronised(self) -> bool | None:
        return self.sure


@pytest.fixture
def store(tmp_path):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    yield recorder
    recorder.close()


@pytest.fixture
def clock():
    return SetClock()


@pytest.fixture
def facts():
    return Facts(0)


@pytest.fixture
def keeping(tmp_path, clock, facts):
    """Thirty days; the first look is due."""
    made = Retention(tmp_path, 30, clock, facts)
    clock.later(11 * MINUTE_US)
    return made


def add_route(store: Recorder, days_ago: float | None, seconds: int = 3) -> int:
    route = store.begin_route(1).id
    for second in range(seconds):
        batch = second_batch(route, second)
        batch.stops, batch.outbox = [], []
        store.commit(batch)
    if days_ago is not None:
        store.end_route(route, NOW_US - round(days_ago * DAY_US))
    return route


def held(folder: Path) -> list[int]:
    """Raw samples of each route, oldest first."""
    with Archive.open(folder) as archive:
        return [len(archive.raw(route.id)) for route in archive.routes()]


def tend_for(minutes: int, keeping, store, clock) -> None:
    for _ in range(minutes):
        keeping.tend(store)
        clock.later(MINUTE_US)


def test_only_routes_that_ended_long_enough_ago_lose_their_raw_samples_and_it_is_told(
    store, tmp_path, keeping, clock, facts
):
    for days in (90, 31, 29, None, 0.1):
        add_route(store, days)
    tend_for(10, keeping, store, clock)
    assert held(tmp_path) == [0, 0, 30, 30, 30]
    assert list(facts.raw_deleted) == [
        "The raw samples of 2 routes, from 1 to 2, were deleted after 30 days. "
        "Readings and alerts stay."
    ]
    with Archive.open(tmp_path) as archive:
        assert [len(archive.readings(route.id)["seq"]) for route in archive.routes()] == [3] * 5


def test_it_is_one_route_a_call_and_the_next_look_is_a_day_later(store, tmp_path, keeping, clock):
    for _ in range(3):
        add_route(store, 31)
    add_route(store, 29.5)
    add_route(store, None)
    keeping.tend(store)
    assert held(tmp_path) == [0, 30, 30, 30, 30]
    tend_for(1400, keeping, store, clock)
    assert held(tmp_path) == [0, 0, 0, 30, 30]
    tend_for(60, keeping, store, clock)
    assert held(tmp_path) == [0, 0, 0, 0, 30]


def test_the_newest_route_keeps_its_raw_samples_however_old_it_is(store, tmp_path, keeping, clock):
    add_route(store, 300)
    add_route(store, 200)
    tend_for(5, keeping, store, clock)
    assert held(tmp_path) == [0, 30]


def test_a_route_that_ended_when_the_clock_was_not_set_is_kept(store, tmp_path, keeping, clock):
    add_route(store, NOW_US / DAY_US - 1)
    add_route(store, 1)
    tend_for(5, keeping, store, clock)
    assert held(tmp_path) == [30, 30]


@pytest.mark.parametrize("sure", [None, False])
def test_nothing_is_deleted_while_nobody_confirms_the_clock(store, tmp_path, keeping, clock, sure):
    clock.sure = sure
    add_route(store, 31)
    add_route(store, 1)
    tend_for(30, keeping, store, clock)
    assert held(tmp_path) == [30, 30]
    clock.sure = True
    tend_for(1, keeping, store, clock)
    assert held(tmp_path) == [0, 30]


def test_what_something_still_rests_on_is_kept(store, tmp_path, keeping, clock):
    wanted = [add_route(store, 50) for _ in range(4)]
    samples_only = store.begin_route(1).id
    store.commit(dataclasses.replace(second_batch(samples_only, 1), readings=[], first_ordinal=0))
    store.end_route(samples_only, NOW_US - 50 * DAY_US)
    add_route(store, None)
    with Archive.open(tmp_path) as archive:
        uids = {route.id: route.uid for route in archive.routes()}
    said = [
        (wanted[0], UseCalibrations(())),
        (wanted[1], UseCalibrations(())),
        (wanted[1], Undo("c1")),
        (wanted[3], Rename((0, 0), "lawn")),
    ]
    for turn, (route, what) in enumerate(said):
        body = {"at": {"segment": 0, "t_us": 0}, "name": "x"} if turn == 3 else body_of(what)
        row = CorrectionRow(f"c{turn}", uids[route], turn, kind_of(what), 0, "Ann", "", body)
        store.commit(Batch(None, corrections=[row]))
    failed = event_row("monitor_failed.1")
    failed = dataclasses.replace(
        failed, event=dataclasses.replace(failed.event, code="monitor_failed")
    )
    store.commit(Batch(wanted[2], events=[failed]))
    tend_for(10, keeping, store, clock)
    assert held(tmp_path) == [30, 30, 30, 0, 10, 30]


def test_a_store_that_fails_is_tried_again(store, tmp_path, keeping, clock, facts, monkeypatch):
    add_route(store, 31)
    add_route(store, 1)

    def fail(_: int) -> int:
        raise StoreFullError("no space")

    with monkeypatch.context() as patch:
        patch.setattr(store, "prune_raw", fail)
        with pytest.raises(StoreFullError):
            keeping.tend(store)
    assert held(tmp_path) == [30, 30]
    assert not facts.raw_deleted
    keeping.tend(store)
    assert held(tmp_path) == [0, 30]


def test_nothing_is_looked_for_in_the_first_minutes(store, tmp_path, clock, facts):
    keeping = Retention(tmp_path, 30, clock, facts)
    add_route(store, 31)
    add_route(store, 1)
    tend_for(9, keeping, store, clock)
    assert held(tmp_path) == [30, 30]
    tend_for(2, keeping, store, clock)
    assert held(tmp_path) == [0, 30]


def test_days_are_asked_for_by_option_or_environment_and_nothing_is_deleted_unless_they_are(
    rig_file, monkeypatch
):
    asked = []

    class Stub:
        def __init__(self, *_: object, keep_raw_days: int | None, **__: object) -> None:
            asked.append(keep_raw_days)

        def run(self) -> None:
            return

    monkeypatch.setattr("flowlog.daemon.service.Service", Stub)
    monkeypatch.setattr("flowlog.daemon.logs.set_up", lambda _: None)
    monkeypatch.setattr("signal.signal", lambda *_: None)
    run = ["run", str(rig_file)]
    for words, environ in ((run, {}), ([*run, "--keep-raw-days", "90"], {}), (run, DAYS)):
        assert CliRunner(env=environ).invoke(main, words).exit_code == 0
    assert asked == [None, 90, 7]
    refused = CliRunner().invoke(main, [*run, "--keep-raw-days", "0"])
    assert refused.exit_code == 2
    assert "0 is not in the range" in refused.output
