"""Exports: units in every name, nothing measured is empty or null, sums agree with the review."""

from __future__ import annotations

import csv
import io
import json
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from stored import store_scenario

from flowlog.monitor.summary import summarise
from flowlog.review.export_csv import readings_csv, summary_csv
from flowlog.review.export_json import readings_json, summary_json
from flowlog.review.load import load_route
from flowlog.review.route import RouteReview
from flowlog.store.archive import Archive
from flowlog.units import number_in


@pytest.fixture(scope="module")
def review(tmp_path_factory) -> RouteReview:
    folder = tmp_path_factory.mktemp("morning")
    store_scenario(folder)
    with Archive.open(folder) as archive:
        return load_route(archive, "last")


def written(export, review) -> str:
    out = io.StringIO(newline="")
    export(review, out)
    return out.getvalue()


def rows(export, review) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(written(export, review), newline="")))


def test_the_readings_in_csv_are_in_the_rigs_units_and_add_up(review):
    lines = rows(readings_csv, review)
    assert len(lines) == len(review.columns["seconds"])
    area = sum(float(line["area_ft2"]) for line in lines)
    expected = number_in(review.summary.figures.area_m2, "area", "ft2")
    assert area == pytest.approx(expected, rel=1e-5)
    assert {line["stop"] for line in lines} == {"", "1", "2", "3"}
    assert {line["clock"] for line in lines} == {"unconfirmed"}


def test_a_metric_rig_gets_metric_columns(review):
    rig = replace(review.rig, units="metric")
    names = written(readings_csv, replace(review, rig=rig)).split("\n")[0].split(",")
    assert {"area_m2", "volume_l", "flow_l_min", "pressure_bar", "rate_l_ha"} <= set(names)
    assert not any("gal" in name or "psi" in name for name in names)


def test_what_was_not_measured_is_an_empty_cell_and_null(review):
    columns = {**review.columns, "flow_m3_s": review.columns["flow_m3_s"] * np.nan}
    columns["tank_m3"] = columns["tank_m3"] * np.inf
    nothing = replace(review, columns=columns)
    assert {line["flow_gal_min"] for line in rows(readings_csv, nothing)} == {""}
    body = json.loads(written(readings_json, nothing))
    assert {reading["flow_m3_s"] for reading in body["readings"]} == {None}
    assert {reading["tank_m3"] for reading in body["readings"]} == {None}


def test_times_are_local_with_offset_and_utc_and_mean_the_same_moment(review):
    line = rows(readings_csv, review)[0]
    assert line["time_utc"].endswith("Z")
    local, utc = (datetime.fromisoformat(line[name]) for name in ("time_local", "time_utc"))
    assert local == utc
    assert local.tzinfo is not None


def test_the_summary_in_csv_has_the_stops_and_their_sum(review):
    lines = rows(summary_csv, review)
    assert [line["stop"] for line in lines] == ["1", "2", "3", "all"]
    for name in ("area_ft2", "spraying_s", "volume_gal"):
        total = sum(float(line[name]) for line in lines[:-1])
        assert total == pytest.approx(float(lines[-1][name]), rel=1e-4)
    assert float(lines[-1]["rate_sure_to_percent"]) == pytest.approx(7.07, abs=0.01)


def test_the_json_is_valid_strict_and_in_si(review):
    def refuse(name):
        raise AssertionError(name)

    body = json.loads(written(readings_json, review), parse_constant=refuse)
    assert body["format"] == "flowlog route"
    volume = sum(reading["volume_m3"] for reading in body["readings"])
    assert volume == pytest.approx(body["figures"]["volume_m3"])
    assert body["events"][0]["at"].keys() == {"segment", "seq", "t_us"}
    assert body["alerts"][0]["code"] == "tip_blocked"


def test_the_summary_says_why_it_is_no_surer(review):
    body = json.loads(written(summary_json, review))
    rate = body["accuracy"]["rate"]
    causes = [part["cause"] for part in rate["because"]]
    assert causes[0] == "the ground speed"
    total = sum(part["standard_share"] ** 2 for part in rate["because"]) ** 0.5
    assert rate["half_width_95_share"] == pytest.approx(2 * total)


def test_a_route_without_readings_can_be_exported(review):
    columns = {name: column[:0] for name, column in review.columns.items()}
    empty = replace(
        review, columns=columns, events=(), summary=summarise(columns, [], [], review.rig)
    )
    assert rows(readings_csv, empty) == []
    assert [line["stop"] for line in rows(summary_csv, empty)] == ["all"]
    body = json.loads(written(readings_json, empty))
    assert body["readings"] == []
    assert body["accuracy"] is None


def test_names_with_commas_quotes_and_lines_survive(review):
    name = 'a, "b"\nc'
    stops = tuple(replace(stop, name=name) for stop in review.summary.stops)
    named = replace(review, summary=replace(review.summary, stops=stops))
    assert rows(summary_csv, named)[0]["name"] == name
    assert json.loads(written(summary_json, named))["stops"][0]["name"] == name
