"""The live sums are those of the review, from fewer columns."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from stored import RIG, store_scenario

from flowlog.monitor.stops import Mark
from flowlog.monitor.summary import summarise
from flowlog.review.live_sums import COLUMNS, live_totals
from flowlog.store.archive import Archive


@pytest.fixture(scope="module")
def columns(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sums")
    store_scenario(folder)
    with Archive.open(folder) as archive:
        (route,) = archive.routes()
        return archive.readings(route.id), archive.readings(route.id, names=COLUMNS)


@pytest.mark.parametrize(
    "marks",
    [
        [],
        [Mark("begin", 0, 300_000_000, "lawn", 500.0), Mark("end", 0, 700_000_000)],
        [Mark("name", 0, 400_000_000, None, 321.0), Mark("begin", 0, 840_000_000, "last", 77.0)],
    ],
)
@pytest.mark.parametrize("until", [0, 1, 200, 500, None])
def test_route_and_newest_stop_have_the_reviews_figures(columns, marks, until):
    whole, few = ({k: v[:until] for k, v in part.items()} for part in columns)
    summary = summarise(whole, [], marks, RIG)
    route, stop = live_totals(few, marks, RIG)
    pairs = [(route, summary.figures)]
    if summary.stops:
        newest = summary.stops[-1]
        assert stop is not None
        assert (stop.number, stop.name) == (newest.number, newest.name)
        pairs.append((stop, newest.figures))
    else:
        assert stop is None
    for told, figures in pairs:
        assert told.area_m2 == pytest.approx(figures.area_m2)
        assert told.volume_m3 == pytest.approx(figures.volume_m3)
        assert told.rate_m3_m2 == pytest.approx(figures.rate_m3_m2)
        assert told.spraying_s == pytest.approx(figures.spraying_s)
