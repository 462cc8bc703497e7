from __future__ import annotations

import json
import math

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.publish import messages
from flowlog.units import parse

numbers = st.floats() | st.none()
counts = st.integers(0, 2**40)
texts = st.text(st.characters(), max_size=30)  # lone surrogates too
positions = st.builds(Position, counts, counts, st.integers(0, 2**60))
readings = st.builds(
    Reading,
    at=positions,
    seconds=st.floats(),
    phase=st.sampled_from(["off", "settling", "spraying", "draining"]),
    pulses=counts,
    volume_m3=st.floats(),
    area_m2=st.floats(),
    flow_m3_s=numbers,
    pressure_pa=numbers,
    pressure_min_pa=numbers,
    pressure_max_pa=numbers,
    rate_m3_m2=numbers,
    speed_m_s=numbers,
    conductance_share=numbers,
    tank_m3=numbers,
    samples=counts,
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
    size=numbers,
    size_low=numbers,
    size_high=numbers,
    size_unit=texts,
    details=st.dictionaries(texts, st.floats(), max_size=3),
)
totals = st.builds(
    messages.RouteTotals,
    spraying_s=st.floats(),
    volume_m3=numbers,
    area_m2=numbers,
    stops=counts,
    alerts=counts,
    samples=counts,
    lost=counts,
)
walls = st.integers(-(2**63), 2**63) | st.none()
clocks = st.sampled_from(["synced", "unconfirmed", "none"])
ids = st.text(min_size=1, max_size=20)

HEALTHY = Reading(
    at=Position(0, 99, 10_000_000),
    seconds=1.0,
    phase="spraying",
    pulses=100,
    volume_m3=0.25e-3,
    area_m2=4.0,
    flow_m3_s=2.5e-4,
    pressure_pa=275_790.29,
    pressure_min_pa=270_000.0,
    pressure_max_pa=280_000.0,
    rate_m3_m2=6.25e-5,
    speed_m_s=1.34112,
    conductance_share=0.98,
    tank_m3=None,
    samples=10,
    lost=0,
)


def refuse_constant(name):
    raise AssertionError(f"{name} is not JSON")


def check(kind, encoded):
    """The message is strict JSON, fits its schema, and has no key that the schema leaves out."""
    payload = json.loads(encoded, parse_constant=refuse_constant)
    schema = messages.schema(kind)
    jsonschema.validate(payload, schema, cls=jsonschema.Draft202012Validator)
    assert set(payload) == set(schema["properties"])
    return payload


@pytest.mark.parametrize("kind", messages.KINDS)
def test_each_schema_is_itself_valid_and_says_that_keys_may_be_added(kind):
    schema = messages.schema(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["additionalProperties"] is True
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"schema": f"flowlog.{kind}.1"}, schema)


@given(readings, st.none() | ids, walls, clocks)
def test_every_reading_fits_its_schema(reading, route, wall_us, clock):
    payload = messages.reading(reading, rig="cart", route=route, wall_us=wall_us, clock=clock)
    check("reading", messages.encode(payload))


@given(events, ids, st.none() | ids, walls, walls, clocks, st.integers(1, 2**62) | st.none())
def test_every_alert_fits_its_schema(event, uid, route, wall_us, since_us, clock, number):
    payload = messages.alert(
        event,
        uid=uid,
        rig="cart",
        route=route,
        wall_us=wall_us,
        since_wall_us=since_us,
        clock=clock,
        source="daemon",
    )
    got = check("alert", messages.stamp(messages.encode(payload), number))
    assert got["number"] == number


@given(totals | st.none(), ids, walls, walls, clocks)
def test_every_route_fits_its_schema(sums, uid, began_us, ended_us, clock):
    payload = messages.route(
        "ended",
        uid=uid,
        rig="cart",
        route="r1",
        name=None,
        began_wall_us=began_us,
        ended_wall_us=ended_us,
        clock=clock,
        totals=sums,
    )
    got = check("route", messages.stamp(messages.encode(payload), 7))
    if sums is not None:
        assert set(got["totals"]) == set(
            messages.schema("route")["properties"]["totals"]["properties"]
        )


@given(st.lists(st.tuples(texts, texts), max_size=30), st.lists(texts, max_size=3), walls, clocks)
def test_every_status_fits_its_schema(alerts, faults, wall_us, clock):
    payload = messages.status(
        rig="cart",
        version="0.1.0",
        wall_us=wall_us,
        clock=clock,
        route="r1",
        phase="spraying",
        board="connected",
        open_alerts=alerts,
        faults=faults,
    )
    got = check("status", messages.encode(payload))
    assert got["alerts_open"] == len(alerts)
    assert len(got["open_alerts"]) == min(len(alerts), messages.MOST_OPEN_ALERTS)


@pytest.mark.parametrize("why", ["stopped", "connection lost"])
def test_the_offline_status_fits_the_schema_of_the_status(why):
    got = check("status", messages.encode(messages.offline(why, rig="cart", version="0.1.0")))
    assert (got["online"], got["why"], got["time"], got["clock"]) == (False, why, None, "none")


@pytest.mark.parametrize(
    ("key", "text", "kind", "field"),
    [
        ("flow_l_min", "15 L/min", "flow", "flow_m3_s"),
        ("flow_gal_min", "4 gal/min", "flow", "flow_m3_s"),
        ("pressure_psi", "40 psi", "pressure", "pressure_pa"),
        ("rate_gal_1000ft2", "1.5 gal/1000 ft2", "rate", "rate_m3_m2"),
        ("rate_l_ha", "611 L/ha", "rate", "rate_m3_m2"),
        ("speed_mph", "3.2 mph", "speed", "speed_m_s"),
        ("tank_l", "60 L", "volume", "tank_m3"),
    ],
)
def test_numbers_stand_in_the_unit_of_their_key(key, text, kind, field):
    """The factors agree with those of the units module, which come from another source."""
    from dataclasses import replace

    reading = replace(HEALTHY, **{field: parse(text, kind)})
    payload = messages.reading(reading, rig="cart", route=None, wall_us=None, clock="none")
    assert payload[key] == pytest.approx(float(text.split()[0]), rel=1e-5)


def test_the_totals_of_a_route_give_the_rate_from_volume_and_area():
    sums = messages.RouteTotals(600.0, 0.0378541, 929.0304, 3, 1, 6000, 2)
    payload = messages.route(
        "ended",
        uid="r1:end",
        rig="cart",
        route="r1",
        name="north lawns",
        began_wall_us=0,
        ended_wall_us=600_000_000,
        clock="synced",
        totals=sums,
    )["totals"]
    assert payload["volume_gal"] == pytest.approx(10, rel=1e-5)
    assert payload["area_1000ft2"] == pytest.approx(10, rel=1e-5)
    assert payload["rate_gal_1000ft2"] == pytest.approx(1, rel=1e-5)
    assert payload["rate_l_ha"] == pytest.approx(407.4583, rel=1e-5)


def test_a_value_that_is_no_number_becomes_null():
    from dataclasses import replace

    reading = replace(HEALTHY, flow_m3_s=math.nan, pressure_pa=math.inf, volume_m3=1e307)
    payload = messages.reading(reading, rig="cart", route=None, wall_us=None, clock="synced")
    assert payload["flow_l_min"] is None
    assert payload["pressure_psi"] is None
    assert payload["volume_l"] is None  # overflows in litres


def test_wall_time_is_utc_to_the_millisecond_and_null_where_there_is_none():
    def time_of(wall_us, clock="synced"):
        got = messages.reading(HEALTHY, rig="c", route=None, wall_us=wall_us, clock=clock)
        return got["time"], got["clock"]

    assert time_of(1_750_000_000_123_456) == ("2025-06-15T15:06:40.123Z", "synced")
    assert time_of(None) == (None, "none")
    assert time_of(2**63) == (None, "none")


@given(st.dictionaries(ids, st.none(), max_size=2), st.integers(1, 2**62) | st.none())
def test_stamping_adds_the_number_and_changes_nothing_else(rest, number):
    rest.pop("number", None)
    stamped = messages.stamp(messages.encode(rest), number)
    assert json.loads(stamped) == {"number": number, **rest}


def test_what_is_no_json_object_is_not_stamped():
    assert messages.stamp(b"[1]", 5) == b"[1]"
