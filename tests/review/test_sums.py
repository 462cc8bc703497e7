"""A route in one line says the same as its whole review; the season sees what was changed."""

from __future__ import annotations

import dataclasses
import math
import re
import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from stored import BEGAN_US, RIG, RIG_TEXT, store_scenario

from flowlog.monitor.conductance import Law
from flowlog.review.kept_sums import FILE
from flowlog.review.load import load_numbered, load_route
from flowlog.review.season import season, season_dict
from flowlog.review.season_svg import by_route, described, season_svg
from flowlog.review.shelf import Shelf
from flowlog.review.sums import quarters, sums_of
from flowlog.store.archive import Archive
from flowlog.store.correction import (
    GiveArea,
    Merge,
    NewTips,
    Place,
    Rename,
    UseCalibrations,
    body_of,
    kind_of,
)
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, CorrectionRow


@pytest.fixture(scope="module")
def morning(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rig")
    store_scenario(folder)
    return folder


@pytest.fixture
def folder(morning, tmp_path):
    shutil.copytree(morning, tmp_path / "rig")
    return tmp_path / "rig"


def say(folder, *sayings):
    with Archive.open(folder) as archive:
        uid, known = archive.routes()[0].uid, len(archive.corrections())
    rows = [
        CorrectionRow(f"c{turn}", uid, turn, kind_of(said), 0, "Ann", "", body_of(said))
        for turn, said in enumerate(sayings, known + 1)
    ]
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    recorder.commit(Batch(None, corrections=rows))
    recorder.close()


def both(folder):
    with Archive.open(folder) as archive:
        route = archive.routes()[0]
        return sums_of(archive, 1, route), load_numbered(archive, 1, route)


def agree(sums, review):
    figures = review.summary.figures
    assert sums.area_m2 == pytest.approx(figures.area_m2)
    assert sums.volume_m3 == pytest.approx(figures.volume_m3)
    assert sums.rate_m3_m2 == pytest.approx(figures.rate_m3_m2)
    assert sums.spraying_s == pytest.approx(figures.spraying_s)
    assert sums.within_5_share == pytest.approx(figures.within_5_share)
    assert sums.stops == len(review.summary.stops)
    assert sums.alerts == sum(not alert.noted for alert in review.summary.alerts)
    assert (sums.clock, sums.derived) == (review.clock, review.derived)
    assert sums.begin_wall_us == review.summary.begin_wall_us


def test_a_route_in_one_line_agrees_with_its_review(folder):
    agree(*both(folder))


def test_also_when_stops_were_corrected_and_the_route_derived_anew(folder):
    _, review = both(folder)
    first, second = review.summary.stops[:2]
    say(
        folder,
        Rename(Place(*_at(first)), "north"),
        GiveArea(Place(*_at(first)), 1234.0),
        Merge(Place(*_at(second))),
        UseCalibrations(()),
    )
    review = load_route_of(folder)
    sums, review = both(folder)
    assert sums.stop_names == ("north",)
    assert sums.derived
    agree(sums, review)


def _at(stop):
    return stop.begin.segment, stop.begin.t_us


def load_route_of(folder):
    with Archive.open(folder) as archive:
        return load_route(archive, "last")


def test_the_boom_passes_what_it_should_in_each_quarter_of_an_hour(folder):
    review = load_route_of(folder)
    found = quarters(review.columns, review.rig)
    assert sum(one.seconds for one in found) <= review.summary.figures.spraying_s
    (only,) = found
    assert only.wall_us >= BEGAN_US
    nominal = math.log(RIG.nominal_conductance * math.sqrt(RIG.work.carrier_relative_density))
    # One tip of eight clogs for a part of the route.
    assert nominal - 0.13 < only.log_conductance < nominal + 0.05
    assert only.of_new_tips == pytest.approx(math.exp(only.log_conductance - nominal))
    assert 0.85 < only.share < 1.01


def test_a_boom_by_a_law_of_its_own_passes_the_same_at_every_pressure(folder):
    """Twice the pressure, and by that law 2^0.55 of the flow: by the square root 3.5 % more."""
    review = load_route_of(folder)
    low = dict(review.columns)
    high = {
        **low,
        "pressure_pa": 2.0 * low["pressure_pa"],
        "flow_m3_s": 2.0**0.55 * low["flow_m3_s"],
    }
    law = Law(0.55, 2.5e5)
    ((before,), (after,)) = (quarters(columns, review.rig, law) for columns in (low, high))
    assert after.log_conductance == pytest.approx(before.log_conductance, abs=1e-9)
    assert after.of_new_tips == pytest.approx(before.of_new_tips)
    ((before,), (after,)) = (quarters(columns, review.rig) for columns in (low, high))
    assert after.log_conductance - before.log_conductance == pytest.approx(0.05 * math.log(2))


def test_a_quarter_hour_is_900_seconds_of_settled_spraying(folder):
    review = load_route_of(folder)
    longer = {name: column.repeat(4) for name, column in review.columns.items()}
    found = quarters(longer, review.rig)
    assert [round(one.seconds) for one in found[:-1]] == [900] * (len(found) - 1)
    assert len(found) == math.ceil(sum(one.seconds for one in found) / 900)


def test_the_season_marks_other_calibrations_and_tips_and_counts_hours_of_spraying(folder):
    say(folder, NewTips("all tips new"))
    first, _ = both(folder)
    second = dataclasses.replace(
        first, number=2, calibration_ids=(3,), calibration_names=("meter 3",), new_tips=()
    )
    third = dataclasses.replace(second, number=3, tips=(second.tips[0] + 2, second.tips[1]))
    found = season([third, first, second])
    assert [(one.route, one.what, one.text) for one in found.changes] == [
        (1, "tips", "all tips new"),
        (2, "calibrations", "calibrated: meter 3"),
        (3, "tips", f"{third.tips[0]} tips by the rig file"),
    ]
    hours = sum(one.seconds for one in first.quarters) / 3600
    assert [begin for _, begin, _ in found.starts] == pytest.approx([0, hours, 2 * hours])
    assert found.hours == pytest.approx(3 * hours)
    assert [point["route"] for point in season_dict(found)["points"]] == [1, 2, 3]
    assert "all tips new from route 1 on" in described(found)
    assert season_svg(found).count("<circle") == 2


def test_many_quarter_hours_are_drawn_as_one_point_a_route(folder):
    first, _ = both(folder)
    lower = dataclasses.replace(first.quarters[0], of_new_tips=0.9, share=0.9)
    longer = dataclasses.replace(first, quarters=(*first.quarters * 60, lower))
    few, many = (
        season([first]),
        season([dataclasses.replace(longer, number=n) for n in (1, 2, 3, 4)]),
    )
    assert not by_route(few)
    assert by_route(many)
    drawn = season_svg(many)
    (bars, _) = re.findall(r'class="chart-spread" d="([^"]+)"', drawn)
    assert bars.count("M") == 4
    assert drawn.count("a3 3 0 1 0") == 8


def test_an_empty_season_can_be_drawn():
    assert season_svg(season([])).endswith("</svg>")


def test_the_shelf_reads_again_only_what_has_changed(folder, monkeypatch):
    shelf, read = Shelf(), []
    original = Archive.readings
    monkeypatch.setattr(
        Archive, "readings", lambda *args, **options: read.append(1) or original(*args, **options)
    )
    with Archive.open(folder) as archive:
        one = shelf.review(archive, 1)
        assert shelf.review(archive, 1) == one
        (sums,) = shelf.sums(archive)
        assert shelf.sums(archive) == [sums]
        assert len(read) == 2
        assert shelf.review(archive, 2) is None
    say(folder, Rename(Place(*_at(one.summary.stops[0])), "north"))
    with Archive.open(folder) as archive:
        assert shelf.review(archive, 1).summary.stops[0].name == "north"
        assert shelf.sums(archive)[0].stop_names == ("north",)


def test_who_is_in_a_hurry_gets_what_is_known(folder):
    shelf = Shelf()
    with Archive.open(folder) as archive:
        assert shelf.sums(archive, patience_s=-1.0) == [None]
    shelf.fill(lambda: Archive.open(folder))
    with Archive.open(folder) as archive:
        assert shelf.sums(archive, patience_s=-1.0)[0].number == 1


def test_sums_outlive_the_program_but_not_a_change_of_the_route(folder, monkeypatch):
    kept_at = folder / "derived" / FILE
    Shelf(kept_at).fill(lambda: Archive.open(folder))
    with Archive.open(folder) as archive:
        (sums,) = Shelf().sums(archive)
        monkeypatch.setattr("flowlog.review.shelf.sums_of", None)
        assert Shelf(kept_at).sums(archive) == [sums]
    monkeypatch.undo()
    say(folder, NewTips("all tips new"))
    with Archive.open(folder) as archive:
        assert Shelf(kept_at).sums(archive, patience_s=-1.0) == [None]


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"version": "1"}', '{"routes": {"1": []}}'])
def test_a_file_that_holds_no_sums_is_as_good_as_none(folder, tmp_path, text):
    kept_at = tmp_path / FILE
    kept_at.write_text(text)
    with Archive.open(folder) as archive:
        assert Shelf(kept_at).sums(archive)[0].number == 1


def test_where_nothing_can_be_kept_all_goes_on(folder, tmp_path):
    (tmp_path / "derived").write_text("in the way")
    shelf = Shelf(tmp_path / "derived" / FILE)
    shelf.fill(lambda: Archive.open(folder))
    with Archive.open(folder) as archive:
        assert shelf.sums(archive, patience_s=-1.0)[0].number == 1


def test_what_is_to_be_derived_yet_is_not_kept_as_if_it_were(folder, monkeypatch):
    say(folder, UseCalibrations(()))
    shelf = Shelf()
    with Archive.open(folder) as archive:
        assert shelf.review(archive, 1).underived
        assert shelf.sums(archive)[0].underived
        load_route(archive, "last")
        assert shelf.review(archive, 1).derived
        monkeypatch.setattr("flowlog.review.shelf._AGAIN_S", 0.0)
        assert shelf.sums(archive)[0].underived  # known for two seconds
        with monkeypatch.context() as later:
            later.setattr("time.monotonic", lambda: 1e12)
            assert shelf.sums(archive)[0].derived


def test_a_route_that_waits_to_be_derived_keeps_no_other_from_being_summed_up(folder):
    say(folder, UseCalibrations(()))
    shelf = Shelf()
    shelf.fill(lambda: Archive.open(folder))
    with Archive.open(folder) as archive:
        assert shelf.sums(archive, patience_s=-1.0)[0].underived
