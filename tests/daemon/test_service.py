"""The whole service in one process, with a clock, a store and a broker that tests command."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from flowlog.daemon import inbox
from flowlog.daemon.clock import Stamp
from flowlog.daemon.notify import Notifier
from flowlog.daemon.resume import catch_up
from flowlog.daemon.service import Service
from flowlog.link.source import LinkEvent
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stream import TankFill
from flowlog.publish.handover import PublishState
from flowlog.rig.model import Broker
from flowlog.simulator.live import lines
from flowlog.simulator.plan import Fault
from flowlog.simulator.run import simulate
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreError, StoreFullError, StoreReadOnlyError
from flowlog.store.recorder import Recorder
from flowlog.wire.decode import Decoder

T0 = 1_780_000_000_000_000
HOUR_US = 3_600_000_000
YEARS_US = 3 * 365 * 24 * HOUR_US


class FakeClock:
    """The monotonic clock is real, the wall clock is set at will."""

    def __init__(self, wall_us: int = T0, boot: str = "boot-1") -> None:
        self.wall_offset_us = wall_us - time.monotonic_ns() // 1000
        self.boot = boot

    def now(self) -> Stamp:
        now = time.monotonic_ns() // 1000
        return Stamp(now + self.wall_offset_us, now)

    def host_boot(self) -> str:
        return self.boot

    def synchronised(self) -> bool | None:
        return None


class Chunks:
    """A port that gives the lines of a run, one chunk a read, much faster than a board."""

    name = "/dev/fake"

    def __init__(self, chunks: list[bytes], pause_s: float = 0.0005) -> None:
        self._chunks: Iterator[bytes] = iter(chunks)
        self._pause_s = pause_s
        self.written: list[bytes] = []
        self.given = 0
        self.ended = False
        self.events: list[LinkEvent] = []
        self.stuck = threading.Event()
        self.closed = threading.Event()

    def open(self) -> None:
        pass

    def read(self, timeout_s: float = 0.25) -> bytes:
        while self.stuck.is_set() and not self.closed.is_set():
            time.sleep(0.01)
        chunk = next(self._chunks, None)
        if chunk is None:
            self.ended = True
            time.sleep(0.01)
            return b""
        self.given += 1
        time.sleep(self._pause_s)
        return chunk

    def write(self, data: bytes) -> bool:
        self.written.append(data)
        return True

    def take_events(self) -> list[LinkEvent]:
        events, self.events = self.events, []
        return events

    def close(self) -> None:
        self.closed.set()


class FakeBroker:
    """Takes everything, acknowledges when told to."""

    enabled = True

    def __init__(self, acknowledges: bool = True) -> None:
        self._waiting: dict[int, bytes] = {}
        self._seen: set[int] = set()
        self._acknowledged: list[int] = []
        self._lock = threading.Lock()
        self.acknowledges = acknowledges
        self.got: list[tuple[int, dict]] = []
        self.readings: list[dict] = []
        self.statuses: list[dict] = []

    def start(self) -> None:
        pass

    def stop(self, timeout_s: float = 2.0, *, wall_us=None, clock="none") -> None:
        self._serve()

    def set_status(self, payload) -> None:
        self.statuses.append(dict(payload))

    def publish_reading(self, payload) -> None:
        self.readings.append(dict(payload))

    def offer(self, rows) -> int:
        with self._lock:
            for row in rows:
                if row.id not in self._seen:
                    self._seen.add(row.id)
                    self._waiting[row.id] = row.payload
        return len(rows)

    def _serve(self) -> None:
        if not self.acknowledges:
            return
        with self._lock:
            for number in sorted(self._waiting):
                self.got.append((number, json.loads(self._waiting.pop(number))))
                self._acknowledged.append(number)

    def take_acknowledged(self) -> list[int]:
        self._serve()
        with self._lock:
            taken, self._acknowledged = self._acknowledged, []
        return taken

    def take_refused(self) -> list:
        return []

    def state(self) -> PublishState:
        word = "connected" if self.acknowledges else "away"
        return PublishState(word, "the fake broker")

    def ids(self) -> list[str]:
        return [payload["id"] for _, payload in self.got]


class FailingStore:
    """A real recorder whose commits fail while `failing` is set, or hang while `hanging` is."""

    def __init__(self, recorder: Recorder, switch: Switch) -> None:
        self._recorder = recorder
        self._switch = switch

    def commit(self, batch) -> None:
        while self._switch.hanging.is_set():
            time.sleep(0.01)
        if self._switch.failing.is_set():
            self._switch.failures += 1
            raise StoreFullError("/data/flowlog.db: no space left on the disk")
        self._recorder.commit(batch)

    def __getattr__(self, name: str):
        return getattr(self._recorder, name)


class Switch:
    def __init__(self) -> None:
        self.failing = threading.Event()
        self.hanging = threading.Event()
        self.failures = 0


@pytest.fixture
def rig_text(rig_file) -> str:
    return rig_file.read_text()


@pytest.fixture
def chunks_of():
    def make(scenario, size: int = 1) -> list[bytes]:
        run = simulate(scenario)
        made = [line for _, line in lines(run)]
        return [b"".join(made[i : i + size]) for i in range(0, len(made), size)]

    return make


@pytest.fixture
def serve(tmp_path, rig, rig_text, wait_for):
    """`with serve(source, ...) as service:` runs it in a thread and stops it at the end."""

    @contextlib.contextmanager
    def run(source, *, rig=rig, rig_text=rig_text, clock=None, **options):
        folder = tmp_path / "data"
        service = Service(rig, rig_text, folder, source, clock=clock or FakeClock(), **options)
        service.folder = folder
        failed: list[BaseException] = []

        def work() -> None:
            try:
                service.run()
            except BaseException as error:  # noqa: BLE001 - raised again in the test's thread
                failed.append(error)

        thread = threading.Thread(target=work)
        thread.start()
        try:
            yield service
        finally:
            service.stop()
            thread.join(15)
        assert not thread.is_alive()
        if failed:
            raise failed[0]

    return run


def archive(folder: Path) -> Archive:
    return Archive.open(folder)


def archive_of(folder: Path, ask):
    """What `ask` finds; None while there is no store yet."""
    try:
        with Archive.open(folder) as found:
            return ask(found)
    except (StoreError, IndexError):
        return None


def end_the_route(folder: Path, rig, rig_text: str) -> None:
    """As the daemon does when it has waited for long."""
    with archive(folder) as found:
        route, last = found.routes()[-1], found.latest()
    store = Recorder.open(folder, rig, rig_text)
    store.end_route(route.id, last.wall_us)
    store.close()


def all_given(source: Chunks, wait_for) -> None:
    wait_for(lambda: source.ended, 30)
    time.sleep(0.2)


# Clocks.


def test_a_host_clock_that_jumps_by_years_and_back_by_an_hour_changes_no_number(
    serve, make_scenario, chunks_of, wait_for, rig
):
    scenario = make_scenario(3, 40, 10)
    chunks = chunks_of(scenario)
    clock = FakeClock(1_000_000)  # 1970: no battery-backed clock
    source = Chunks(chunks)
    with serve(source, clock=clock) as service:
        wait_for(lambda: source.given > len(chunks) // 3)
        clock.wall_offset_us += T0 + YEARS_US
        wait_for(lambda: source.given > 2 * len(chunks) // 3)
        clock.wall_offset_us -= HOUR_US
        all_given(source, wait_for)
    ended = clock.now().wall_us
    with archive(service.folder) as found:
        (route,) = found.routes()
        readings = found.readings(route.id)
        events = found.events(route.id)
        points = found.clock(route.id)
    # The pipeline by itself, which knows no wall clock, says the same to the last bit.
    monitor, wanted = Monitor(rig), []
    for item in Decoder().feed(b"".join(chunks)).items:
        wanted += monitor.feed(item).readings
    assert list(readings["volume_m3"]) == [reading.volume_m3 for reading in wanted]
    assert list(readings["seconds"]) == [reading.seconds for reading in wanted]
    assert [e.event.code for e in events] == ["clock_set", "clock_set"]
    assert events[0].event.size == pytest.approx((T0 + YEARS_US) / 1e6, abs=0.01)
    assert events[1].event.size == pytest.approx(-3600, abs=0.01)
    # All times are by the clock as it stood last, also those stored before it was set.
    began = ended - 60_000_000
    assert ((readings["wall_us"] > began) & (readings["wall_us"] <= ended)).all()
    assert (readings["wall_us"][1:] >= readings["wall_us"][:-1]).all()
    for row in events:
        assert began < row.wall_us <= ended
    for point in points:
        assert point.wall_us - point.monotonic_us == pytest.approx(clock.wall_offset_us, abs=1000)
    assert began < route.began_wall_us <= ended


def test_a_clock_that_was_set_while_no_daemon_ran_is_corrected_at_the_start(
    serve, make_scenario, chunks_of, wait_for
):
    chunks = chunks_of(make_scenario(2, 30, 10))
    half = len(chunks) // 2
    clock = FakeClock(1_000_000)
    first = Chunks(chunks[:half])
    with serve(first, clock=clock):
        all_given(first, wait_for)
    clock.wall_offset_us += T0
    second = Chunks(chunks[half:])
    with serve(second, clock=clock) as service:
        all_given(second, wait_for)
    ended = clock.now().wall_us
    with archive(service.folder) as found:
        (route,) = found.routes()
        walls = found.readings(route.id)["wall_us"]
    assert ((walls > ended - 60_000_000) & (walls <= ended)).all()


def test_catching_up_corrects_nothing_when_no_clock_was_set(serve, tmp_path, rig, rig_text):
    clock = FakeClock()
    with serve(Chunks([]), clock=clock) as service:
        pass
    store = Recorder.open(service.folder, rig, rig_text)

    def shift(*_: object) -> bool:
        raise AssertionError("there is nothing to shift")

    store.shift_wall = shift
    catch_up(store, service.folder, clock)
    catch_up(store, service.folder, FakeClock(T0 + HOUR_US, boot="another power-up"))
    store.close()


# Restarts are replays.


def test_after_a_restart_an_open_alert_is_not_announced_again_and_the_lamp_is_lit(
    serve, make_scenario, chunks_of, wait_for, rig
):
    chunks = chunks_of(make_scenario(3, 60, 5, Fault("tip blocked", 40.0, tip=3)))
    cut = len(chunks) * 2 // 3
    broker = FakeBroker()
    with_broker = dataclasses.replace(rig, broker=Broker("localhost"))
    first = Chunks(chunks[:cut])
    with serve(first, rig=with_broker, publisher=broker) as service:
        all_given(first, wait_for)
        wait_for(lambda: any("tip_blocked" in key for key in broker.ids()))
    before = list(broker.ids())
    second = Chunks(chunks[cut:])
    with serve(second, rig=with_broker, publisher=broker):
        all_given(second, wait_for)
        wait_for(lambda: any(data.startswith(b"A,2,") for data in second.written))
    assert len(set(broker.ids())) == len(broker.ids())
    # What follows may be growth, never the same again.
    assert broker.ids()[: len(before)] == before
    with archive(service.folder) as found:
        (route,) = found.routes()
        uids = [row.uid for row in found.events(route.id)]
        readings = found.readings(route.id)
    assert sum(uid.endswith(":0") and "tip_blocked" in uid for uid in uids) == 1
    steps = readings["seq"][1:] - readings["seq"][:-1]
    assert set(steps) == {10}, "no reading is missing where the restart was, and none is double"


def test_cut_anywhere_a_route_gives_the_same_readings_and_events(
    serve, make_scenario, chunks_of, wait_for, tmp_path, rig
):
    scenario = make_scenario(3, 40, 5, Fault("tip blocked", 60.0, tip=2))
    chunks = chunks_of(scenario)
    monitor, decoder = Monitor(rig), Decoder()
    wanted_readings, wanted_events = [], []
    for item in decoder.feed(b"".join(chunks)).items:
        out = monitor.feed(item)
        wanted_readings += out.readings
        wanted_events += out.events
    for low, high in ((0, 333), (333, 700), (700, 701), (701, len(chunks))):
        part = Chunks(chunks[low:high])
        with serve(part) as service:
            all_given(part, wait_for)
    with archive(service.folder) as found:
        (route,) = found.routes()
        readings = found.readings(route.id)
        events = [row.event for row in found.events(route.id) if row.source == "monitor"]
    assert list(readings["t_us"]) == [reading.at.t_us for reading in wanted_readings]
    assert list(readings["volume_m3"]) == [reading.volume_m3 for reading in wanted_readings]
    assert [(e.alert, e.change, e.at) for e in events] == [
        (e.alert, e.change, e.at) for e in wanted_events
    ]


def test_a_route_that_is_too_old_is_ended_whole_and_summed_up_at_the_next_start(
    serve, make_scenario, chunks_of, wait_for, rig, true_pulses
):
    scenario = make_scenario(2, 30, 5)
    broker = FakeBroker()
    with_broker = dataclasses.replace(rig, broker=Broker("localhost"))
    first = Chunks(chunks_of(scenario))
    with serve(first, rig=with_broker, publisher=broker) as service:
        all_given(first, wait_for)
    tomorrow = FakeClock(T0 + 24 * HOUR_US, boot="boot-2")
    with serve(Chunks([]), rig=with_broker, publisher=broker, clock=tomorrow):
        wait_for(lambda: any(key.endswith(":ended") for key in broker.ids()))
    with archive(service.folder) as found:
        old, new = found.routes()
        readings = found.readings(old.id)
        assert len(found.readings(new.id)["seq"]) == 0
    assert int(readings["pulses"].sum()) == true_pulses(scenario)
    assert old.ended_wall_us is not None
    assert abs(old.ended_wall_us - T0) < 60_000_000, "it ended when its data did, not a day later"
    (ended,) = [p for _, p in broker.got if p["id"].endswith(":ended")]
    assert ended["totals"]["volume_l"] == pytest.approx(readings["volume_m3"].sum() * 1000)
    assert ended["totals"]["stops"] == 1


def test_another_rig_file_begins_another_route(serve, make_scenario, chunks_of, wait_for, rig_text):
    source = Chunks(chunks_of(make_scenario(1, 20, 5)))
    with serve(source):
        all_given(source, wait_for)
    with serve(Chunks([]), rig_text=rig_text.replace('"50 gal"', '"49 gal"')) as service:
        wait_for(lambda: service._watch)
    with archive(service.folder) as found:
        assert [route.ended_wall_us is None for route in found.routes()] == [False, True]


def test_a_rig_file_in_other_words_that_says_the_same_goes_on_with_the_route(
    serve, make_scenario, chunks_of, wait_for, rig_text
):
    tables = rig_text.split("\n[")
    turned = "\n[".join([tables[0], *reversed(tables[1:])])
    spelt = rig_text.replace('"50 gal"', '"50.00 gallons"')
    with_broker = rig_text + '\n[broker]\nhost = "localhost"\nusername = "u"\npassword = "%s"\n'
    chunks = chunks_of(make_scenario(2, 20, 5))
    texts = [rig_text, "# another pace\n\n" + rig_text.replace(" = ", "   =  "), turned, spelt]
    for text, part in zip(texts, np.array_split(np.arange(len(chunks)), len(texts)), strict=True):
        source = Chunks([chunks[i] for i in part])
        with serve(source, rig_text=text) as service:
            all_given(source, wait_for)
    with archive(service.folder) as found:
        (route,) = found.routes()
        seq = found.readings(route.id)["seq"]
    assert set(np.diff(seq)) == {10}, "nothing is missing between"
    for word, ended in (("first", [False, True]), ("second", [False, True])):
        with serve(Chunks([]), rig_text=with_broker % word) as service:
            wait_for(lambda: service._watch)
        with archive(service.folder) as found:
            # The broker is something else, its password is not.
            assert [route.ended_wall_us is None for route in found.routes()] == ended


def test_a_stored_rig_file_that_cannot_be_read_any_more_begins_another_route(
    serve, make_scenario, chunks_of, wait_for, rig_text
):
    source = Chunks(chunks_of(make_scenario(1, 10, 2)))
    with serve(source) as service:
        all_given(source, wait_for)
    with contextlib.closing(sqlite3.connect(service.folder / "flowlog.db")) as db:
        db.execute("UPDATE rig_files SET text = '[rig]\nname = 1\n', sha256 = 'another'")
        db.commit()
    with serve(Chunks([])) as service:
        wait_for(lambda: service._watch)
    with archive(service.folder) as found:
        assert [route.ended_wall_us is None for route in found.routes()] == [False, True]


def fills_of(found: Archive, route) -> list[TankFill]:
    return [item for _, item in found.stream(route.id) if isinstance(item, TankFill)]


def test_another_rig_file_leaves_in_the_tank_what_was_in_it_and_says_so(
    serve, make_scenario, chunks_of, wait_for, rig, rig_text, caplog
):
    caplog.set_level("INFO", "flowlog")
    chunks = chunks_of(make_scenario(2, 40, 5))
    half = len(chunks) // 2
    first = Chunks(chunks[:half])
    with serve(first):
        all_given(first, wait_for)
    second = Chunks(chunks[half:])
    with serve(second, rig_text=rig_text.replace('volume = "50 gal"', 'volume = "49 gal"')) as both:
        all_given(second, wait_for)
    with archive(both.folder) as found:
        old, new = found.routes()
        left = found.readings(old.id)["tank_m3"][-1]
        (fill,) = fills_of(found, new)
        after = found.readings(new.id)["tank_m3"]
        (note,) = [row for row in found.events(new.id) if row.event.code == "tank_carried"]
        stream = [item for _, item in found.stream(new.id)]
    assert left < rig.tank.volume_m3 - 1e-3
    assert fill == TankFill(left, carried=True)
    assert stream[0] == fill
    assert left - 3e-3 < after[0] <= left, "the first second of the new route counts on"
    assert (note.source, note.event.change) == ("daemon", "noted")
    assert "left over from the route before" in note.event.text
    assert "flowlog fill" in caplog.text
    # What is stored, replayed, gives the very same level.
    monitor, again = Monitor(rig), []
    for item in stream:
        again += monitor.feed(item).readings
    assert [reading.tank_m3 for reading in again][: len(after)] == list(after)


def test_a_fill_said_while_the_board_was_off_is_what_the_next_route_begins_with(
    serve, make_scenario, chunks_of, wait_for, rig, rig_text
):
    source = Chunks(chunks_of(make_scenario(1, 30, 5)))
    with serve(source) as service:
        all_given(source, wait_for)
        inbox.leave(service.folder, inbox.Mark("fill", T0, inbox.new_uid(), volume_m3=0.1))
        wait_for(lambda: not inbox.waiting(service.folder))
    monday = FakeClock(T0 + 62 * HOUR_US, boot="boot-2")
    with serve(Chunks([]), clock=monday):
        wait_for(lambda: archive_of(service.folder, lambda a: len(a.routes()) == 2))
    with serve(Chunks([]), clock=monday, rig_text=rig_text.replace("50 gal", "49 gal")):
        wait_for(lambda: archive_of(service.folder, lambda a: len(a.routes()) == 3))
    with archive(service.folder) as found:
        _, second, third = found.routes()
        assert fills_of(found, second) == [TankFill(0.1, carried=True)]
        # Nothing was sprayed since Friday, and a carried level is nobody's word.
        assert fills_of(found, third) == []


@pytest.mark.parametrize(("hours", "carried"), [(14, True), (40, False), (-100_000, True)])
def test_what_was_left_is_carried_over_a_night_and_over_an_unknown_time_but_not_a_weekend(
    serve, make_scenario, chunks_of, wait_for, rig, rig_text, hours, carried
):
    source = Chunks(chunks_of(make_scenario(1, 30, 5)))
    with serve(source) as service:
        all_given(source, wait_for)
    end_the_route(service.folder, rig, rig_text)
    clock = FakeClock(T0 + hours * HOUR_US, boot="boot-2")
    with serve(Chunks([]), clock=clock):
        wait_for(lambda: archive_of(service.folder, lambda a: len(a.routes()) == 2))
    with archive(service.folder) as found:
        old, new = found.routes()
        fills = fills_of(found, new)
        left = found.readings(old.id)["tank_m3"][-1]
    assert fills == ([TankFill(left, carried=True)] if carried else [])


def test_a_long_pause_ends_the_route_and_the_board_goes_on_in_the_next_without_a_loss(
    serve, make_scenario, chunks_of, wait_for, rig, true_pulses
):
    thresholds = dataclasses.replace(rig.thresholds, route_pause_s=30.0)
    short = dataclasses.replace(rig, thresholds=thresholds)
    scenario = make_scenario(2, 40, 60)
    source = Chunks(chunks_of(scenario), pause_s=0.002)
    with serve(source, rig=short) as service:
        all_given(source, wait_for)
    with archive(service.folder) as found:
        routes = found.routes()
        parts = [found.readings(route.id) for route in routes]
        streams = [found.raw(route.id) for route in routes]
    assert len(routes) >= 2
    assert sum(len(raw) for raw in streams) == len(simulate(scenario).samples)
    assert all((part["phase"] == "spraying").any() for part in parts[:2])
    # The pressure is judged in the second route too: the board's hello was carried over.
    assert np.isfinite(parts[1]["pressure_pa"]).any()
    # The tank too: the second route counts on from what the first one left.
    assert parts[1]["tank_m3"][0] == pytest.approx(parts[0]["tank_m3"][-1], abs=2e-3)
    assert parts[1]["tank_m3"].max() < rig.tank.volume_m3 - 2e-3


def test_a_monitor_that_fails_costs_no_sample_and_the_work_goes_on(
    serve, make_scenario, chunks_of, wait_for, monkeypatch
):
    scenario = make_scenario(2, 30, 5)
    real, fed = Monitor.feed, [0]

    def fragile(self, item):
        fed[0] += 1
        if fed[0] == 300:
            raise ZeroDivisionError("planted")
        return real(self, item)

    monkeypatch.setattr(Monitor, "feed", fragile)
    source = Chunks(chunks_of(scenario))
    with serve(source) as service:
        all_given(source, wait_for)
    with archive(service.folder) as found:
        routes = found.routes()
        streams = [found.raw(route.id) for route in routes]
        events = [row.event.code for row in found.events()]
        readings = found.readings(routes[1].id)
    assert len(routes) == 2
    assert sum(len(raw) for raw in streams) == len(simulate(scenario).samples)
    assert events == ["monitor_failed", "tank_carried"]
    assert np.isfinite(readings["pressure_pa"]).any()


def test_a_route_whose_replay_fails_does_not_keep_the_daemon_from_starting(
    serve, make_scenario, chunks_of, wait_for, monkeypatch
):
    scenario = make_scenario(2, 30, 5)
    chunks = chunks_of(scenario)
    first = Chunks(chunks[:300])
    with serve(first):
        all_given(first, wait_for)
    real, fed = Monitor.feed, [0]

    def fragile(self, item):
        fed[0] += 1
        if fed[0] == 1:
            raise ZeroDivisionError("planted")
        return real(self, item)

    monkeypatch.setattr(Monitor, "feed", fragile)
    second = Chunks(chunks[300:])
    with serve(second) as service:
        all_given(second, wait_for)
    with archive(service.folder) as found:
        old, new = found.routes()
        assert old.ended_wall_us is not None
        stored = len(found.raw(old.id)) + len(found.raw(new.id))
    assert stored == len(simulate(scenario).samples)


def test_a_board_that_comes_back_is_asked_for_its_hello_and_told_of_the_open_alert(
    serve, make_scenario, chunks_of, wait_for
):
    source = Chunks(chunks_of(make_scenario(2, 60, 5, Fault("tip blocked", 40.0, tip=3))))
    with serve(source) as service:
        all_given(source, wait_for)
        wait_for(lambda: any(data.startswith(b"A,2,") for data in source.written))
        source.events = [LinkEvent("lost", 0.0, "/dev/fake: the port went away")]
        wait_for(lambda: not service.facts.port_open)
        written = len(source.written)
        source.events = [LinkEvent("back", 1.0, "/dev/fake: the port is back")]
        wait_for(lambda: service.facts.port_open)
        wait_for(lambda: any(data.startswith(b"Q*") for data in source.written[written:]))
        wait_for(lambda: any(data.startswith(b"A,2,") for data in source.written[written:]))


# The store fails.


@pytest.fixture
def failing(tmp_path, rig, rig_text):
    switch = Switch()

    def open_store() -> FailingStore:
        return FailingStore(Recorder.open(tmp_path / "data", rig, rig_text), switch)

    switch.open = open_store
    return switch


def test_while_the_store_fails_alerts_reach_lamp_and_broker_and_nothing_is_lost(
    serve, make_scenario, chunks_of, wait_for, rig, failing
):
    scenario = make_scenario(3, 60, 5, Fault("tip blocked", 40.0, tip=3))
    chunks = chunks_of(scenario)
    broker = FakeBroker()
    with_broker = dataclasses.replace(rig, broker=Broker("localhost"))
    source = Chunks(chunks, pause_s=0.001)
    with serve(source, rig=with_broker, publisher=broker, open_store=failing.open) as service:
        wait_for(lambda: source.given > 200)
        failing.failing.set()
        wait_for(lambda: any("tip_blocked" in key for key in broker.ids()))
        wait_for(lambda: any(data.startswith(b"A,2,") for data in source.written))
        assert service.facts.store_fault
        assert service.facts.store_held > 0
        all_given(source, wait_for)
        failing.failing.clear()
        wait_for(lambda: not service.facts.store_fault)
        time.sleep(0.5)
    assert failing.failures > 0
    with archive(service.folder) as found:
        (route,) = found.routes()
        assert len(found.raw(route.id)) == len(simulate(scenario).samples)
        uids = [row.uid for row in found.events(route.id)]
    assert len(set(broker.ids())) == len(broker.ids()), "told past the store, then not again"
    told = [key for key in broker.ids() if "tip_blocked" in key]
    assert set(told) <= set(uids)


def test_a_store_that_cannot_be_opened_does_not_keep_the_monitor_from_its_work(
    serve, make_scenario, chunks_of, wait_for, rig, rig_text, tmp_path
):
    scenario = make_scenario(2, 60, 5, Fault("tip blocked", 40.0, tip=3))
    broker = FakeBroker()
    with_broker = dataclasses.replace(rig, broker=Broker("localhost"))
    writable = threading.Event()

    def open_store():
        if not writable.is_set():
            raise StoreReadOnlyError("/data: cannot be written")
        return Recorder.open(tmp_path / "data", rig, rig_text)

    source = Chunks(chunks_of(scenario))
    with serve(source, rig=with_broker, publisher=broker, open_store=open_store) as service:
        wait_for(lambda: any("tip_blocked" in key for key in broker.ids()))
        all_given(source, wait_for)
        writable.set()
        wait_for(lambda: not service.facts.store_fault, 30)
        time.sleep(0.3)
    with archive(service.folder) as found:
        (route,) = found.routes()
        assert len(found.raw(route.id)) == len(simulate(scenario).samples)
        assert any(row.event.code == "tip_blocked" for row in found.events(route.id))
    assert len(set(broker.ids())) == len(broker.ids())


def test_stopping_while_the_store_fails_still_ends_in_five_seconds(serve, wait_for, failing):
    with serve(Chunks([]), open_store=failing.open):
        failing.failing.set()
        time.sleep(0.5)
        began = time.monotonic()
    assert time.monotonic() - began < 5.0


# The service manager.


@pytest.fixture
def manager(tmp_path):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(tmp_path / "notify"))
        listener.setblocking(False)
        states: list[str] = []

        def read() -> list[str]:
            with contextlib.suppress(BlockingIOError):
                while True:
                    states.extend(listener.recv(4096).decode().split("\n"))
            return states

        environ = {
            "NOTIFY_SOCKET": str(tmp_path / "notify"),
            "WATCHDOG_USEC": "1200000",
            "WATCHDOG_PID": str(os.getpid()),
        }
        read.notifier = Notifier(environ)
        yield read


def test_the_manager_hears_ready_status_pings_and_stopping(
    serve, make_scenario, chunks_of, wait_for, manager
):
    source = Chunks(chunks_of(make_scenario(1, 20, 5)), pause_s=0.01)
    with serve(source, notifier=manager.notifier):
        wait_for(lambda: "STATUS=Samples arrive." in manager())
        wait_for(lambda: manager().count("WATCHDOG=1") >= 3)
    states = manager()
    assert states[0] == "READY=1"
    assert "STOPPING=1" in states


@pytest.mark.parametrize("stuck", ["reader", "writer"])
def test_a_stuck_reader_or_writer_stops_the_pings_though_the_process_lives(
    serve, make_scenario, chunks_of, wait_for, manager, failing, stuck
):
    source = Chunks(chunks_of(make_scenario(4, 50, 5)), pause_s=0.02)
    with serve(source, notifier=manager.notifier, open_store=failing.open) as service:
        wait_for(lambda: manager().count("WATCHDOG=1") >= 2)
        switch = source.stuck if stuck == "reader" else failing.hanging
        switch.set()
        wait_for(lambda: service._watchdog.stuck(service._now_us()) == [stuck])
        before = manager().count("WATCHDOG=1")
        time.sleep(1.2)
        assert manager().count("WATCHDOG=1") == before
        switch.clear()
        wait_for(lambda: manager().count("WATCHDOG=1") > before)


# Marks.


def test_marks_are_taken_into_the_stream_and_their_files_deleted(
    serve, make_scenario, chunks_of, wait_for, rig
):
    source = Chunks(chunks_of(make_scenario(3, 50, 5)), pause_s=0.005)
    with serve(source) as service:
        wait_for(lambda: source.given > 200)
        for mark in (
            inbox.Mark("stop", T0, inbox.new_uid(), kind="begin", name="Park, north lawn"),
            inbox.Mark("fill", T0, inbox.new_uid(), volume_m3=0.15),
        ):
            inbox.leave(service.folder, mark)
        (service.folder / "inbox" / "broken.json").write_text("{")
        wait_for(lambda: not inbox.waiting(service.folder))
        all_given(source, wait_for)
    with archive(service.folder) as found:
        (route,) = found.routes()
        (stop,) = found.stops(route.id)
        items = [item for _, item in found.stream(route.id)]
        events = [row.event.code for row in found.events(route.id)]
        tank = found.readings(route.id)["tank_m3"]
    assert (stop.name, stop.kind) == ("Park, north lawn", "begin")
    assert stop.t_us > 1_000_000
    assert [item.volume_m3 for item in items if type(item).__name__ == "TankFill"] == [0.15]
    drops = tank[:-1] - tank[1:]
    assert max(drops) > 0.01, "from nearly full to what was said"
    assert tank[-1] < 0.15
    assert events == ["mark_refused"]
    assert (service.folder / "inbox" / "refused" / "broken.json").exists()


def test_a_mark_left_while_no_daemon_ran_is_taken_once_at_the_start(serve, wait_for, tmp_path):
    mark = inbox.Mark("stop", T0 - 5, inbox.new_uid(), kind="begin", name="Before")
    inbox.leave(tmp_path / "data", mark)
    with serve(Chunks([])) as service:
        wait_for(lambda: not inbox.waiting(service.folder))
    # A power cut between commit and deletion brings the file again.
    inbox.leave(service.folder, mark)
    with serve(Chunks([])):
        wait_for(lambda: not inbox.waiting(service.folder))
    with archive(service.folder) as found:
        marks = [stop for route in found.routes() for stop in found.stops(route.id)]
    assert [(stop.name, stop.wall_us) for stop in marks] == [("Before", T0 - 5)]


# The broker.


def test_what_the_broker_took_leaves_the_outbox_and_what_it_did_not_stays(
    serve, make_scenario, chunks_of, wait_for, rig, rig_text
):
    with_broker = dataclasses.replace(rig, broker=Broker("localhost"))
    broker = FakeBroker(acknowledges=False)
    source = Chunks(chunks_of(make_scenario(2, 60, 5, Fault("tip blocked", 40.0, tip=3))))
    with serve(source, rig=with_broker, publisher=broker) as service:
        all_given(source, wait_for)
        wait_for(lambda: service.facts.broker_waiting >= 2)
        waiting = service.facts.broker_waiting
        broker.acknowledges = True
        wait_for(lambda: len(broker.got) == waiting)
        wait_for(lambda: service.facts.broker_waiting == 0)
    store = Recorder.open(service.folder, with_broker, rig_text)
    assert store.outbox_size() == 0
    store.close()
    assert broker.ids()[0].endswith(":began")
    numbers = [number for number, _ in broker.got]
    assert numbers == sorted(numbers)


def test_status_and_readings_carry_no_time_while_the_clock_was_never_set(
    serve, make_scenario, chunks_of, wait_for, rig
):
    with_broker = dataclasses.replace(rig, broker=Broker("localhost"))
    broker = FakeBroker()
    source = Chunks(chunks_of(make_scenario(1, 20, 5)), pause_s=0.01)
    clock = FakeClock(1_000_000)
    with serve(source, rig=with_broker, publisher=broker, clock=clock):
        wait_for(lambda: len(broker.readings) > 5)
        wait_for(lambda: broker.statuses and broker.statuses[-1]["board"] == "connected")
    assert {(r["time"], r["clock"]) for r in broker.readings} == {(None, "none")}
    assert broker.statuses[-1]["clock"] == "none"


def test_a_rig_without_a_broker_loads_no_mqtt_client_and_nothing_else_that_is_not_needed():
    program = (
        "import sys, flowlog.daemon.service, flowlog.store.recorder, flowlog.store.archive;"
        "import flowlog.link.port, flowlog.rig.reader;"
        "print(*sorted({'paho', 'scipy', 'alembic', 'rich', 'matplotlib', 'sqlalchemy.orm',"
        " 'flowlog.review', 'flowlog.simulator'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    assert done.stdout.split() == []


def test_raw_samples_that_were_kept_long_enough_are_deleted_and_the_route_of_today_notes_it(
    serve, make_scenario, chunks_of, wait_for, rig, rig_text, monkeypatch
):
    class Sure(FakeClock):
        def synchronised(self) -> bool | None:
            return True

    monkeypatch.setattr("flowlog.daemon.retention._FIRST_US", 0)
    monkeypatch.setattr("flowlog.daemon.writer._HOUSEKEEPING_US", 100_000)
    for hours in (0, 5):
        first = Chunks(chunks_of(make_scenario(1, 10, 2)))
        with serve(first, clock=Sure(T0 + hours * HOUR_US)) as service:
            all_given(first, wait_for)
        end_the_route(service.folder, rig, rig_text)
    later = Sure(T0 + 40 * 24 * HOUR_US, boot="boot-2")
    with serve(Chunks([]), clock=later, keep_raw_days=30) as service:
        wait_for(lambda: archive_of(service.folder, lambda a: len(a.routes()) == 3))
        wait_for(lambda: archive_of(service.folder, lambda a: a.events(a.routes()[-1].id)), 30)
    with archive(service.folder) as found:
        old, newer, today = found.routes()
        (note,) = found.events(today.id)
        assert found.raw_gone(old.id)
        assert found.raw_gone(newer.id)
        assert not found.raw_gone(today.id)
        assert len(found.readings(old.id)["seq"])
    assert (note.event.code, note.event.change) == ("raw_deleted", "noted")
    assert "2 routes, from 1 to 2, were deleted after 30 days" in note.event.text
