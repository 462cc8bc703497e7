"""What a person says about a route is checked against the route before it is noted."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import store_scenario

from flowlog.correcting import say
from flowlog.review.load import load_route
from flowlog.review.route import RouteReview
from flowlog.store.archive import Archive
from flowlog.store.correction import CorrectionError, GiveArea, Merge, Place, Rename


@pytest.fixture(scope="module")
def review(tmp_path_factory) -> RouteReview:
    folder = tmp_path_factory.mktemp("rig")
    store_scenario(folder)
    with Archive.open(folder) as archive:
        return load_route(archive, "last")


def test_a_stop_is_meant_by_its_number_and_noted_by_its_place(review):
    stop = say.stop_numbered(review, 2)
    at = Place(stop.begin.segment, stop.begin.t_us)
    assert say.renamed(stop, "  north   lawn ") == Rename(at, "north lawn")
    assert say.renamed(stop, " ") == Rename(at, None)
    assert say.merged(stop) == Merge(at)
    with pytest.raises(CorrectionError, match="stop 9: route 1 has stops 1 to 3"):
        say.stop_numbered(review, 9)
    with pytest.raises(CorrectionError, match="before the first"):
        say.merged(say.stop_numbered(review, 1))


def test_an_area_is_written_with_its_unit(review):
    stop = say.stop_numbered(review, 1)
    given = say.with_area(stop, "1000 ft2")
    assert given.area_m2 == pytest.approx(92.90304)
    assert say.with_area(stop, "counted") == GiveArea(given.at, None)
    for wrong in ("1000", "12 gal", "-3 ft2", "0 m2", "1e30 m2"):
        with pytest.raises(CorrectionError, match="area"):
            say.with_area(stop, wrong)


def test_a_split_is_said_in_time_of_day_or_since_the_beginning(review):
    stop = say.stop_numbered(review, 1)
    (middle, *_) = say.pauses(review, stop)
    local = datetime.fromtimestamp(middle.wall_us / 1e6, UTC).astimezone()
    by_clock = say.split(review, stop, local.strftime("%H:%M:%S"))
    second = int(middle.second)
    by_beginning = say.split(review, stop, f"+0:{second // 60:02d}:{second % 60:02d}")
    for found in (by_clock, by_beginning):
        assert found.at.segment == middle.at.segment
        assert abs(found.at.t_us - middle.at.t_us) < 2_500_000


@pytest.mark.parametrize(
    ("when", "told"),
    [
        ("noon", "is no time"),
        ("13:40:05", "was not being sprayed"),
        ("+0:00:01", "was not being sprayed"),
        ("+9:00:00", "was not being sprayed"),
        ("+0:61", "was not being sprayed"),
    ],
)
def test_a_split_outside_of_the_stop_is_refused(review, when, told):
    with pytest.raises(CorrectionError, match=told):
        say.split(review, say.stop_numbered(review, 1), when)


def test_a_place_outside_of_the_stop_splits_it_neither(review):
    other = say.place_of(say.stop_numbered(review, 3))
    with pytest.raises(CorrectionError, match="on one side"):
        say.split_at(review, say.stop_numbered(review, 1), other)


def test_the_pauses_of_a_stop_are_where_it_can_be_split(review):
    for stop in review.summary.stops:
        found = say.pauses(review, stop)
        assert found
        for pause in found:
            assert say.split_at(review, stop, pause.at).at == pause.at
    assert len(say.pauses(review, review.summary.stops[0], most=1)) == 1


def test_only_calibrations_that_there_are_can_be_chosen(review):
    with pytest.raises(CorrectionError, match="no number 7"):
        say.calibrated(review, [], [7])
    assert say.calibrated(review, [], []).uids == ()


def test_only_what_holds_can_be_undone(review):
    with pytest.raises(CorrectionError, match="has corrections 1 to 0"):
        say.undone(review, 1)


def test_a_row_is_one_line_by_somebody_and_knows_its_turn(review):
    row = say.row_of(review, say.tips("all new"), " A\nnn ", "worn  out")
    assert (row.turn, row.made_by, row.reason, row.kind) == (1, "A nn", "worn out", "tips")
    assert row.route_uid == review.route.uid
    assert say.row_of(review, say.tips("x"), "").made_by == "unknown"
    with pytest.raises(CorrectionError, match="say what was done"):
        say.tips(" ")
    with pytest.raises(CorrectionError, match="121 characters"):
        say.tips("x" * 121)
