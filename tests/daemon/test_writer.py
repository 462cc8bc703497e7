"""The writer against a store that fails at every call in turn."""

from __future__ import annotations

import numpy as np
import pytest

from flowlog.daemon.clock import SystemClock
from flowlog.daemon.health import Facts
from flowlog.daemon.pending import EndRoute, Pending, Piece, Route, ShiftWall
from flowlog.daemon.writer import Writer
from flowlog.monitor.outputs import Event, Position
from flowlog.monitor.stream import TankFill
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreFullError
from flowlog.store.recorder import Recorder
from flowlog.store.rows import EventRow, OutboxMessage
from flowlog.wire.samples import FIELDS, Samples

HERE = Position(0, 0, 0)
CALLS = ("begin_run", "open_route", "begin_route", "commit", "end_route", "shift_wall", "tally")


def samples(first: int, count: int) -> Samples:
    table = np.zeros((count, len(FIELDS)), dtype=np.int64)
    table[:, 1] = np.arange(first, first + count)
    return Samples(table)


class Flaky:
    """A recorder whose `n`-th call fails, before or after it has done its work."""

    def __init__(self, recorder: Recorder, state: dict) -> None:
        self._recorder, self._state = recorder, state

    def __getattr__(self, name: str):
        real = getattr(self._recorder, name)
        if name not in CALLS:
            return real

        def call(*args, **named):
            self._state["calls"] += 1
            mine = self._state["calls"] == self._state["fail_at"]
            if mine and not self._state["late"]:
                raise StoreFullError("planted, before")
            result = real(*args, **named)
            if mine:
                raise StoreFullError("planted, after")
            return result

        return call


@pytest.fixture
def write(tmp_path, rig, rig_file):
    """Write two routes through a store that fails at its n-th call; how many calls there were."""

    def run(name: str, fail_at: int, late: bool) -> tuple[int, Archive]:
        folder = tmp_path / name
        state = {"calls": 0, "fail_at": fail_at, "late": late}
        facts = Facts(0)
        writer = Writer(
            lambda: Flaky(Recorder.open(folder, rig, rig_file.read_text()), state),
            folder,
            None,
            facts,
            SystemClock(),
            lambda: None,
            farewell=lambda route, _wall: OutboxMessage("t", b"{}", 1, False, f"{route.uid}:end"),
            commit_every_s=0.001,
            first_backoff_s=0.001,
        )
        writer.start()
        one, two = Route("1" * 32, 1_000_000), Route("2" * 32, 2_000_000)
        for route in (one, two):
            for number in range(3):
                event = Event(f"e{number}", "tip_blocked", "opened", HERE, HERE, "x")
                uid = f"{route.uid}:{number}"
                writer.put(
                    Piece(
                        route,
                        [samples(number * 10, 10), TankFill(float(number))],
                        events=[EventRow(event, 5, 5, "monitor", uid)],
                        outbox=[OutboxMessage("t", b"{}", 1, False, uid)],
                    )
                )
                assert writer.settle(5)
            if route is one:
                writer.put(ShiftWall(7, 42))
                writer.put(EndRoute(one, 3_000_000))
        assert writer.settle(5)
        writer.stop()
        assert not writer.alive
        assert not facts.store_fault
        return state["calls"], Archive.open(folder)

    return run


@pytest.mark.parametrize("late", [False, True], ids=["before its work", "after its work"])
def test_whichever_call_fails_everything_is_stored_once(write, late):
    total, fail_at = 1, 1
    while fail_at <= total:
        total, archive = write(f"at-{fail_at}", fail_at, late)
        with archive:
            routes = archive.routes()
            assert [route.uid[0] for route in routes] == ["1", "2"], fail_at
            assert [route.ended_wall_us is None for route in routes] == [False, True], fail_at
            for route in routes:
                assert list(archive.raw(route.id).column("seq")) == list(range(30)), fail_at
                fills = [i for _, i in archive.stream(route.id) if isinstance(i, TankFill)]
                assert [fill.volume_m3 for fill in fills] == [0.0, 1.0, 2.0], fail_at
                assert len(archive.events(route.id)) == 3, fail_at
            # The correction of the clock was applied once to what was stored before it.
            walls = [row.wall_us for route in routes for row in archive.events(route.id)]
            assert walls == [12] * 3 + [5] * 3, fail_at
        fail_at += 1
    assert fail_at > 10


def test_what_waits_too_long_is_dropped_with_a_word_and_never_an_alert(
    tmp_path, rig, rig_file, caplog
):
    broken = {"calls": 0, "fail_at": -1, "late": False}

    class Broken(Flaky):
        def commit(self, batch) -> None:
            if broken["fail_at"]:
                raise StoreFullError("planted")
            self._recorder.commit(batch)

    facts = Facts(0)
    writer = Writer(
        lambda: Broken(Recorder.open(tmp_path / "data", rig, rig_file.read_text()), broken),
        tmp_path / "data",
        None,
        facts,
        SystemClock(),
        lambda: None,
        commit_every_s=0.001,
        pending=Pending(most_samples=1000),
        first_backoff_s=0.05,
    )
    writer.start()
    route = Route("1" * 32, 1_000_000)
    for number in range(300):
        event = Event(f"e{number}", "tip_blocked", "opened", HERE, HERE, "x")
        row = EventRow(event, 5, 5, "monitor", f"u{number}")
        writer.put(Piece(route, [samples(number * 10, 10)], events=[row]))
    assert not writer.settle(0.5)
    broken["fail_at"] = 0
    assert writer.settle(20)
    writer.stop()
    with Archive.open(tmp_path / "data") as archive:
        stored = list(archive.raw(1).column("seq"))
        assert len(archive.events(1)) == 300
    assert facts.store_dropped == 3000 - len(stored) > 0
    assert stored == list(range(facts.store_dropped, 3000))
    assert "were dropped" in caplog.text
