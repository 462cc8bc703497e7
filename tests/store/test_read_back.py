"""Whatever a reading, an event or a mark holds, it comes back equal."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.monitor.stream import TankFill
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, EventRow, StopMark, StreamMark
from flowlog.wire.records import RESET_CAUSES, Hello

often = settings(
    deadline=None, max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
numbers = st.floats(allow_nan=False)
maybe = st.none() | numbers
counts = st.integers(0, 2**62)
texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))
positions = st.builds(Position, st.integers(0, 2**31 - 1), st.integers(0, 2**32 - 1), counts)
readings = st.builds(
    Reading,
    at=positions,
    seconds=numbers,
    phase=st.sampled_from(["off", "settling", "spraying", "draining"]),
    pulses=counts,
    volume_m3=numbers,
    area_m2=numbers,
    flow_m3_s=maybe,
    pressure_pa=maybe,
    pressure_min_pa=maybe,
    pressure_max_pa=maybe,
    rate_m3_m2=maybe,
    speed_m_s=maybe,
    conductance_share=maybe,
    tank_m3=maybe,
    samples=st.integers(0, 2**31),
    lost=counts,
)
events = st.builds(
    Event,
    alert=texts,
    code=texts,
    change=st.sampled_from(["opened", "grew", "cleared", "noted"]),
    at=positions,
    since=positions,
    text=texts,
    checks=st.lists(texts, max_size=3).map(tuple),
    size=maybe,
    size_low=maybe,
    size_high=maybe,
    size_unit=texts,
    details=st.dictionaries(texts, numbers, max_size=3),
)
walls = st.integers(-(2**62), 2**62)
hellos = st.builds(
    Hello,
    boot=st.integers(0, 65535),
    seq=st.integers(0, 2**32 - 1),
    protocol=st.integers(0, 99),
    firmware=texts,
    board=texts,
    reset=st.sampled_from(RESET_CAUSES),
    period_ms=st.integers(1, 10_000),
    adc_bits=st.integers(8, 24),
    channels=texts,
)


@often
@given(reading=readings, wall=walls)
def test_a_reading_comes_back_equal(
    reading: Reading, wall: int, recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    recorder.commit(Batch(route.id, readings=[(reading, wall)]))
    with Archive.open(tmp_path) as archive:
        latest = archive.latest()
        columns = archive.readings(route.id)
    assert latest is not None
    assert (latest.reading, latest.wall_us, latest.route) == (reading, wall, route)
    for name in ("seconds", "flow_m3_s", "tank_m3", "pulses", "lost"):
        value, expected = columns[name][0], getattr(reading, name)
        assert np.isnan(value) if expected is None else value == expected, name


@often
@given(event=events, wall=walls, since=walls)
def test_an_event_comes_back_equal(
    event: Event, wall: int, since: int, recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    row = EventRow(event, wall, since, "daemon", route.uid)
    recorder.commit(Batch(route.id, events=[row]))
    with Archive.open(tmp_path) as archive:
        assert archive.events(route.id) == [row]


@often
@given(item=hellos | numbers.map(TankFill), name=st.none() | texts, wall=walls)
def test_a_mark_in_the_stream_and_a_stop_come_back_equal(
    item: Hello | TankFill,
    name: str | None,
    wall: int,
    recorder: Recorder,
    tmp_path: Path,
) -> None:
    route = recorder.begin_route(1)
    stop = StopMark(name, "name", wall, 3, 7, route.uid)
    recorder.commit(Batch(route.id, items=[StreamMark(0, 0, item)], stops=[stop]))
    with Archive.open(tmp_path) as archive:
        assert list(archive.stream(route.id)) == [(0, item)]
        assert archive.stops(route.id) == [stop]


def test_a_value_that_is_no_number_is_stored_as_not_measured(
    recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    reading = Reading(
        Position(0, 1, 2), 1.0, "off", 0, 0.0, 0.0, math.nan, *([None] * 7), samples=1, lost=0
    )
    recorder.commit(Batch(route.id, readings=[(reading, 1)]))
    with Archive.open(tmp_path) as archive:
        latest = archive.latest()
    assert latest is not None
    assert latest.reading.flow_m3_s is None
