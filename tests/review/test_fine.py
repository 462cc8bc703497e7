"""A short window in finer steps agrees with the readings of the same seconds."""

from __future__ import annotations

import dataclasses
import sqlite3
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from stored import store_items, store_scenario

from flowlog.review.chart import chart_of
from flowlog.review.fine import LONGEST_S, fine
from flowlog.review.load import load_route
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import find_scenario, read_scenario
from flowlog.store.archive import Archive
from flowlog.wire.samples import Samples


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("rig")
    store_scenario(made)
    return made


def asked(folder, begin, end):
    with Archive.open(folder) as archive:
        review = load_route(archive, "last")
        return review, fine(archive, review, begin, end)


def settled(review, begin, end):
    columns = review.columns
    ends = np.cumsum(columns["seconds"])
    return (columns["phase"] == "spraying") & (ends > begin) & (ends <= end)


@pytest.mark.parametrize("begin", [15.0, 200.0, 480.0, 800.0])
def test_ten_seconds_have_a_hundred_pressures_and_twenty_flows(folder, begin):
    review, found = asked(folder, begin, begin + 10)
    rate, flow, pressure = found
    assert 98 <= len(pressure) <= 101
    assert 19 <= len(flow) == len(rate) <= 21
    for trace in found:
        assert (np.diff(trace.at_s) > 0).all()
        assert trace.at_s[0] >= begin
        assert trace.at_s[-1] <= begin + 10
    inside = settled(review, begin, begin + 10)
    if inside.sum() >= 8:
        columns = review.columns
        near = columns["pressure_pa"][inside].mean()
        assert np.nanmedian(pressure.mean) == pytest.approx(near, rel=0.05)
        assert np.nanmedian(flow.mean) == pytest.approx(
            columns["flow_m3_s"][inside].mean(), rel=0.05
        )
        assert np.nanmedian(rate.mean) == pytest.approx(
            columns["rate_m3_m2"][inside].mean(), rel=0.05
        )


def test_the_extremes_of_a_second_are_those_of_its_samples(folder):
    review, (_, _, pressure) = asked(folder, 20.0, 60.0)
    ends = np.cumsum(review.columns["seconds"])
    checked = 0
    for index in np.flatnonzero((ends > 22) & (ends < 58)):
        inside = (pressure.at_s > ends[index] - review.columns["seconds"][index] + 1e-4) & (
            pressure.at_s <= ends[index] + 1e-4
        )
        if inside.sum() == review.columns["samples"][index]:
            assert pressure.low[inside].min() == pytest.approx(
                review.columns["pressure_min_pa"][index]
            )
            assert pressure.high[inside].max() == pytest.approx(
                review.columns["pressure_max_pa"][index]
            )
            checked += 1
    assert checked > 30


def test_where_the_boom_is_shut_there_is_no_rate(folder):
    review, (rate, flow, _) = asked(folder, 0.0, 8.0)
    assert (review.columns["phase"][:8] == "off").all()
    assert np.isnan(rate.mean).all()
    assert (flow.mean == 0).all()


def test_a_longer_window_is_left_to_the_readings(folder):
    assert asked(folder, 0.0, LONGEST_S + 1)[1] is None


def test_without_raw_samples_the_readings_must_do(folder, tmp_path):
    store_scenario(tmp_path)
    with sqlite3.connect(tmp_path / "flowlog.db") as db:
        db.execute("DELETE FROM raw_blocks")
        db.execute("DELETE FROM raw_tail")
    db.close()
    assert asked(tmp_path, 20.0, 40.0)[1] is None


def test_also_late_in_a_stream_whose_samples_came_twice_or_not_at_all(tmp_path):
    items = simulate(read_scenario(find_scenario("healthy"))).items
    rough = []
    for item in items:
        if isinstance(item, Samples) and len(item) > 6:
            doubled = [*range(3), 2, 2, *range(3, len(item) - 1)]
            rough.append(Samples(item.table[doubled]))
        else:
            rough.append(item)
    store_items(tmp_path, rough)
    review, found = asked(tmp_path, 500.0, 520.0)
    assert found is not None
    inside = settled(review, 502.0, 518.0)
    assert inside.any()
    assert np.nanmedian(found[2].mean) == pytest.approx(
        np.median(review.columns["pressure_pa"][inside]), rel=0.05
    )


def test_the_pressure_is_read_by_the_scale_that_the_board_said(tmp_path):
    """The rig file says 10 bits, or nothing, and the board has 12."""
    scenario = read_scenario(find_scenario("healthy"))
    board = dataclasses.replace(scenario.board, adc_bits=12)
    store_items(tmp_path, simulate(dataclasses.replace(scenario, board=board)).items)
    review, found = asked(tmp_path, 20.0, 30.0)
    assert review.rig.gauge.adc_bits == 10
    readings = review.columns["pressure_pa"][settled(review, 20.0, 30.0)]
    assert np.nanmean(found[2].mean) == pytest.approx(readings.mean(), rel=0.05)


def test_across_a_restart_of_the_board(tmp_path):
    items = simulate(read_scenario(find_scenario("healthy"))).items
    blocks = Samples.join([item for item in items if isinstance(item, Samples)])
    again = blocks.table.copy()
    again[:, 0] += 1
    hello = next(item for item in items if not isinstance(item, Samples))
    store_items(tmp_path, [hello, Samples(blocks.table[:1000]), Samples(again[:1000])])
    with Archive.open(tmp_path) as archive:
        review = load_route(archive, "last")
        middle = float(np.cumsum(review.columns["seconds"])[99])
        found = fine(archive, review, middle - 10, middle + 10)
    assert found is not None
    assert set(review.columns["segment"].tolist()) == {0, 1}
    assert found[2].at_s[0] < middle - 5
    assert found[2].at_s[-1] > middle + 5


def test_the_chart_draws_what_is_finer(folder):
    review, found = asked(folder, 20.0, 30.0)
    chart = chart_of(review, 20.0, 30.0, 600, found)
    assert chart.step_s == pytest.approx(0.5, abs=1e-3)
    assert len(chart.panels[2].trace) > 90
