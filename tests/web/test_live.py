"""The live state of a real store, asked for once and followed as a stream."""

from __future__ import annotations

import asyncio
import json
import shutil
import time
from pathlib import Path

import jsonschema
import pytest
from stored import BEGAN_US, RIG, RIG_TEXT, store_scenario
from support import own_loop
from support.pages import events_in, loopback

from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, EventRow, SeenRow, StopMark
from flowlog.web import follow
from flowlog.web.follow import MOST_CLIENTS, Follower
from flowlog.web.live_json import SCHEMAS

CHECK = jsonschema.Draft202012Validator(SCHEMAS["Live"])


@pytest.fixture(scope="module")
def morning(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("morning")
    store_scenario(folder, ended=False)
    return folder


@pytest.fixture
def folder(morning, tmp_path) -> Path:
    """A copy of the stored morning that a test may write to."""
    return Path(shutil.copytree(morning, tmp_path / "rig"))


class Writer:
    """A daemon as far as the store sees it."""

    def __init__(self, folder: Path) -> None:
        self.recorder = Recorder.open(folder, RIG, RIG_TEXT)
        self.recorder.begin_run("boot", time.time_ns() // 1000, time.monotonic_ns() // 1000)
        self.route = self.recorder.open_route() or self.recorder.begin_route(BEGAN_US)
        self.tally = self.recorder.tally(self.route.id)

    def commit(self, **parts) -> None:
        batch = Batch(self.route.id, first_ordinal=self.tally.next_ordinal, **parts)
        self.recorder.commit(batch)

    def close(self) -> None:
        self.recorder.close()


@pytest.fixture
def writer(folder):
    made = Writer(folder)
    yield made
    made.close()


def second(number: int, rate: float = 4.48e-5) -> tuple[Reading, int]:
    """One more reading, far behind those of the morning, of now."""
    at = Position(7, 1000 + 10 * number, (10_000 + number) * 1_000_000)
    reading = Reading(
        at, 1.0, "spraying", 100, 2.5e-4, 5.6, 2.5e-4, 2e5, 2e5, 2e5, rate, 1.43, 1.0, 0.1, 10, 0
    )
    return reading, time.time_ns() // 1000


def blocked(change: str = "opened") -> EventRow:
    at = Position(7, 1000, 10_000_000_000)
    now_us = time.time_ns() // 1000
    event = Event(
        "tip_blocked.7.1000",
        "tip_blocked",
        change,
        at,
        at,
        "One tip.",
        details={"probability": 0.9},
    )
    return EventRow(event, now_us, now_us - 4_000_000, "monitor", f"tip:{change}")


def test_a_stored_route_is_told_as_described_with_its_sums(folder):
    with loopback(folder) as client:
        found = client.get("/api/live")
    assert found.status_code == 200
    state = found.json()
    CHECK.validate(state)
    assert state["rig"] == {"name": RIG.name, "slug": RIG.slug, "units": RIG.units}
    assert state["freshness"] == "none"
    assert state["daemon"] is False
    assert state["route"]["number"] == 1
    assert state["route"]["area_m2"] > 1000
    assert state["stop"]["number"] >= 2


def test_where_nothing_was_logged_yet_that_is_said_without_a_path(tmp_path):
    with loopback(tmp_path) as client:
        found = client.get("/api/live")
    assert found.status_code == 503
    assert found.json() == {"error": "Nothing has been logged for this rig yet."}


def test_a_broken_store_is_said_without_a_path(tmp_path):
    (tmp_path / "flowlog.db").write_bytes(b"not a database" * 1000)
    with loopback(tmp_path) as client:
        found = client.get("/api/live")
    assert found.status_code == 503
    assert str(tmp_path) not in found.text


def test_a_reading_of_now_is_live_while_the_daemon_holds_the_store(folder, writer):
    writer.commit(readings=[second(0)])
    with loopback(folder) as client:
        state = client.get("/api/live").json()
    assert state["daemon"] is True
    assert state["freshness"] == "live"
    assert state["age_s"] < 3
    assert state["rate"]["value"] == pytest.approx(1.1, abs=0.01)
    assert state["phase"] == "spraying"


def test_an_open_alert_is_told_with_its_probability_and_whether_somebody_saw_it(folder, writer):
    writer.commit(readings=[second(0)], events=[blocked()])
    with loopback(folder) as client:
        (alert,) = [
            a for a in client.get("/api/live").json()["alerts"] if a["code"] == "tip_blocked"
        ]
        assert alert["probability"] == 0.9
        assert alert["acknowledged"] is False
        assert alert["urgency"] == "stop"
        route_uid, _, name = alert["id"].partition(":")
        writer.commit(seen=[SeenRow("seen-1", route_uid, name, 1)])
        time.sleep(follow.LOOK_S + 0.05)
        (alert,) = [
            a for a in client.get("/api/live").json()["alerts"] if a["code"] == "tip_blocked"
        ]
        assert alert["acknowledged"] is True
        writer.commit(events=[blocked("cleared")])
        time.sleep(follow.LOOK_S + 0.05)
        state = client.get("/api/live").json()
    assert "tip_blocked" not in [a["code"] for a in state["alerts"]]
    assert alert["id"] in [one["id"] for one in state["cleared"]]


def test_a_begun_stop_is_told_with_the_area_that_was_said(folder, writer):
    now_us = time.time_ns() // 1000
    mark = StopMark("Mill Lane 9", "begin", now_us, 7, 10_000_000_000, "mark-0001", 929.0304)
    writer.commit(readings=[second(0)], stops=[mark])
    with loopback(folder) as client:
        state = client.get("/api/live").json()
    assert (state["mark"]["name"], state["mark"]["area"]) == ("Mill Lane 9", "10,000 ft2")


# --- the stream ---------------------------------------------------------------------------------


async def gathered(
    follower: Follower, done, seconds: float = 10.0
) -> list[tuple[str, dict, str | None]]:
    """Events of one client until `done(events)` holds."""
    events: list[tuple[str, dict, str | None]] = []
    async with asyncio.timeout(seconds):
        async for part in follower.messages():
            for kind, data, number in events_in(iter(part.decode().split("\n"))):
                events.append((kind, json.loads(data), number))
            if done(events):
                return events
    raise AssertionError("the stream ended")


def test_the_whole_state_comes_first_and_again_with_each_change(folder, writer):
    writer.commit(readings=[second(0)])

    async def scene():
        follower = Follower(folder)
        try:
            task = asyncio.create_task(
                gathered(
                    follower,
                    lambda e: (
                        any(a["code"] == "tip_blocked" for a in e[-1][1].get("alerts", []))
                        if e
                        else False
                    ),
                )
            )
            await asyncio.sleep(0.5)
            began = time.monotonic()
            await asyncio.to_thread(writer.commit, events=[blocked()])
            events = await task
            return events, time.monotonic() - began
        finally:
            await follower.close()

    events, took_s = own_loop.run(scene)
    assert events[0][0] == "state"
    CHECK.validate(events[0][1])
    numbers = [int(number) for kind, _, number in events if kind == "state"]
    assert numbers == sorted(set(numbers))
    assert took_s < 2.0


def test_while_nothing_changes_a_beat_says_that_the_server_lives(folder, monkeypatch):
    monkeypatch.setattr(follow, "BEAT_S", 0.2)

    async def scene():
        follower = Follower(folder)
        try:
            return await gathered(follower, lambda e: sum(kind == "beat" for kind, *_ in e) >= 3)
        finally:
            await follower.close()

    events = own_loop.run(scene)
    assert [kind for kind, *_ in events].count("state") == 1
    beat = events[-1][1]
    assert set(beat) == {"age_s", "daemon", "freshness", "clock"}


def test_the_daemons_end_is_told_at_once_and_its_return_too(folder):
    async def scene():
        follower = Follower(folder)
        writer = Writer(folder)
        writer.commit(readings=[second(0)])
        said: list[tuple[float, bool]] = []

        async def listen() -> None:
            async for part in follower.messages():
                for kind, data, _ in events_in(iter(part.decode().split("\n"))):
                    if kind == "state":
                        said.append((time.monotonic(), json.loads(data)["daemon"]))

        task = asyncio.create_task(listen())
        try:
            await asyncio.sleep(0.6)
            ended = time.monotonic()
            await asyncio.to_thread(writer.close)
            await asyncio.sleep(1.2)
            again = time.monotonic()
            writer = await asyncio.to_thread(Writer, folder)
            await asyncio.sleep(1.2)
        finally:
            task.cancel()
            writer.close()
            await follower.close()
        return said, ended, again

    said, ended, again = own_loop.run(scene)
    gone = next(at for at, daemon in said if at > ended and not daemon)
    back = next(at for at, daemon in said if at > again and daemon)
    assert gone - ended < 2.0
    assert back - again < 2.0


def test_one_reader_serves_all_clients_and_none_reads_while_nobody_looks(folder, monkeypatch):
    looks = []
    whole = follow.Follower._read
    monkeypatch.setattr(follow.Follower, "_read", lambda self: looks.append(1) or whole(self))

    async def scene():
        follower = Follower(folder)
        try:
            await asyncio.sleep(0.6)
            assert not looks
            tasks = [
                asyncio.create_task(gathered(follower, lambda e: len(e) >= 2)) for _ in range(5)
            ]
            await asyncio.sleep(1.5)
            together = len(looks)
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            await asyncio.sleep(0.5)
            assert follower.clients == 0
            afterwards = len(looks)
            await asyncio.sleep(1.5)
            assert len(looks) == afterwards
            return together
        finally:
            await follower.close()

    # Once at the beginning, then once a second at most, not five times that.
    assert own_loop.run(scene) <= 4


def test_only_so_many_screens_may_follow(folder):
    async def scene():
        follower = Follower(folder)
        streams = [follower.messages() for _ in range(MOST_CLIENTS)]
        try:
            for stream in streams:
                await anext(stream)
            with pytest.raises(follow.TooManyError):
                await anext(follower.messages())
            await streams[0].aclose()
            await anext(follower.messages())
        finally:
            for stream in streams:
                await stream.aclose()
            await follower.close()

    own_loop.run(scene)


def test_a_fault_in_one_look_does_not_end_the_stream(folder, monkeypatch):
    whole = follow.Follower._read
    count = iter(range(1000))

    def now_and_then(self):
        if next(count) == 1:
            raise RuntimeError("once")
        return whole(self)

    monkeypatch.setattr(follow.Follower, "_read", now_and_then)
    monkeypatch.setattr(follow, "AT_LEAST_S", 0.2)

    async def scene():
        follower = Follower(folder)
        try:
            task = asyncio.create_task(
                gathered(follower, lambda e: bool(e) and e[-1][1].get("daemon"))
            )
            await asyncio.sleep(1.0)
            writer = await asyncio.to_thread(Writer, folder)
            await asyncio.to_thread(writer.commit, readings=[second(0)])
            try:
                return await task
            finally:
                writer.close()
        finally:
            await follower.close()

    assert own_loop.run(scene)[-1][1]["daemon"] is True
