"""The views say the same as the tables, in a person's units."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from support.storing import reading, second_batch

from flowlog.store.recorder import Recorder
from flowlog.units import parse

US = {
    "flow_gal_min": ("1 gal/min", "flow", "flow_m3_s"),
    "pressure_psi": ("1 psi", "pressure", "pressure_pa"),
    "pressure_min_psi": ("1 psi", "pressure", "pressure_min_pa"),
    "pressure_max_psi": ("1 psi", "pressure", "pressure_max_pa"),
    "rate_gal_1000ft2": ("1 gal/1000 ft2", "rate", "rate_m3_m2"),
    "speed_mph": ("1 mph", "speed", "speed_m_s"),
    "volume_gal": ("1 gal", "volume", "volume_m3"),
    "area_ft2": ("1 ft2", "area", "area_m2"),
    "tank_gal": ("1 gal", "volume", "tank_m3"),
}
METRIC = {
    "flow_l_min": ("1 L/min", "flow", "flow_m3_s"),
    "pressure_bar": ("1 bar", "pressure", "pressure_pa"),
    "pressure_min_bar": ("1 bar", "pressure", "pressure_min_pa"),
    "pressure_max_bar": ("1 bar", "pressure", "pressure_max_pa"),
    "rate_l_ha": ("1 L/ha", "rate", "rate_m3_m2"),
    "speed_km_h": ("1 km/h", "speed", "speed_m_s"),
    "volume_l": ("1 L", "volume", "volume_m3"),
    "area_m2": ("1 m2", "area", "area_m2"),
    "tank_l": ("1 L", "volume", "tank_m3"),
}


def rows(folder: Path, query: str) -> list[sqlite3.Row]:
    db = sqlite3.connect(folder / "flowlog.db")
    db.row_factory = sqlite3.Row
    try:
        return db.execute(query).fetchall()
    finally:
        db.close()


@pytest.mark.parametrize(("view", "units"), [("readings_us", US), ("readings_metric", METRIC)])
def test_a_view_converts_every_value_as_the_units_do(
    recorder: Recorder, tmp_path: Path, view: str, units: dict[str, tuple[str, str, str]]
) -> None:
    route = recorder.begin_route(1)
    recorder.commit(second_batch(route.id, 0))
    (row,) = rows(tmp_path, f"SELECT * FROM {view}")
    for column, (one, kind, field) in units.items():
        expected = getattr(reading(0), field) / parse(one, kind)  # type: ignore[arg-type]
        assert row[column] == pytest.approx(expected, rel=1e-12), column
    assert row["time_utc"] == "1970-01-01T00:00:10.000Z"
    assert row["conductance_share"] is None
    assert not {name for name in row.keys() if name.endswith(("_m3", "_pa", "_m3_s"))}  # noqa: SIM118


def test_a_value_that_was_not_measured_is_null_in_the_views(
    recorder: Recorder, tmp_path: Path
) -> None:
    route = recorder.begin_route(1)
    recorder.commit(second_batch(route.id, 3))
    assert rows(tmp_path, "SELECT pressure_psi FROM readings_us")[0][0] is None
    assert rows(tmp_path, "SELECT pressure_bar FROM readings_metric")[0][0] is None


def test_events_and_routes_have_their_times_in_utc(recorder: Recorder, tmp_path: Path) -> None:
    route = recorder.begin_route(1_777_900_029_250_000)
    recorder.commit(second_batch(route.id, 29))
    (event,) = rows(tmp_path, "SELECT * FROM events_utc")
    assert event["time_utc"] == "1970-01-01T00:00:39.000Z"
    assert event["since_utc"] == "1970-01-01T00:00:38.000Z"
    assert event["text"] == "About one of 6 tips is blocked."
    (kept,) = rows(tmp_path, "SELECT * FROM routes_utc")
    assert kept["began_utc"] == "2026-05-04T13:07:09.250Z"
    assert kept["ended_utc"] is None
