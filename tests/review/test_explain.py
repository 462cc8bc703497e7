"""An alert is explained from the stored samples, and the explanation holds what was said."""

from __future__ import annotations

import dataclasses
import json
import math
import re
import shutil
import sqlite3
import sys
import xml.etree.ElementTree as ET
from contextlib import closing
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from stored import BEGAN_US, RIG, RIG_TEXT, store_items

from flowlog.monitor.outputs import Event, Position
from flowlog.monitor.supply import PressureAnswer
from flowlog.review.explain import AROUND_S, choose_alert, explain
from flowlog.review.explain_chart import picture_of
from flowlog.review.explain_json import explain_json
from flowlog.review.explain_load import explain_stored, review_of
from flowlog.review.explain_replay import replay_watched
from flowlog.review.explain_signs import verdict
from flowlog.review.explain_svg import explain_html, explain_svg
from flowlog.review.explain_text import chart_lines
from flowlog.review.explain_words import doubts_of, sections_of, title_of
from flowlog.review.find import NotFoundError
from flowlog.review.load import load_route
from flowlog.rig.model import HealthyBoom
from flowlog.simulator.plan import Fault, Leg, passes
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import find_scenario, read_scenario
from flowlog.store.archive import Archive
from flowlog.store.engine import database
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, EventRow
from flowlog.wire.samples import Samples

HEALTHY = read_scenario(find_scenario("healthy"))
SPRAY_S = 50.0
"""Of a pass; the turns take ten seconds and the boom is ready at 5 s."""
AT_S = 190.0


def items_of(*faults: Fault, legs: tuple[Leg, ...] | None = None, seed: int = 3):
    scenario = dataclasses.replace(
        HEALTHY, legs=legs or passes(6, SPRAY_S, 10.0, "Stop"), faults=faults, seed=seed
    )
    return simulate(scenario).items


def explained(folder: Path, wanted: str = "1"):
    with Archive.open(folder) as archive:
        return explain_stored(archive, "last", wanted)


def said_in(told) -> str:
    return "\n".join(line for section in sections_of(told) for line in section.lines)


@pytest.fixture(scope="module")
def clogged(tmp_path_factory):
    """One tip of eight clogs at 190 s in the middle of a pass, and is cleaned in a turn."""
    folder = tmp_path_factory.mktemp("clogged")
    store_items(folder, items_of(Fault("tip blocked", AT_S, tip=3, until_s=300.0)))
    return folder


@pytest.fixture(scope="module")
def told(clogged):
    return explained(clogged)


# -- what must hold for every alert --------------------------------------------------------------


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    kind=st.sampled_from(["tip blocked", "meter stuck", "tip missing", "air", "strainer"]),
    at=st.floats(10.0, 340.0),
    seed=st.integers(0, 1000),
)
def test_the_window_holds_onset_and_saying_and_the_detector_says_it_again(
    tmp_path_factory, kind, at, seed
):
    folder = tmp_path_factory.mktemp("any")
    tip = 2 if kind.startswith("tip") else None
    store_items(folder, items_of(Fault(kind, at, tip=tip), seed=seed))
    with Archive.open(folder) as archive:
        alerts = load_route(archive, "last").summary.alerts
        for alert in alerts:
            found = explain_stored(archive, "last", alert.alert)
            assert found.begin_s <= 0.0 <= found.said_s <= found.end_s
            assert found.said_s + AROUND_S >= found.end_s
            assert [row.event for row in found.said] == list(found.again)
            assert doubts_of(found) == []
            assert (found.tick_s >= found.begin_s).all()
            assert (np.diff(found.tick_s) > 0.0).all()
            json.loads(explain_json(found))
            ET.fromstring(explain_svg(found))
            explain_html(found)


@settings(max_examples=10, deadline=None)
@given(sizes=st.lists(st.integers(1, 700), min_size=1, max_size=12))
def test_the_evidence_is_the_same_however_the_stream_is_cut(sizes):
    items = items_of(Fault("tip blocked", 40.0, tip=3), legs=passes(2, SPRAY_S, 10.0, "Stop"))
    cut, turn = [], 0
    for item in items:
        if not isinstance(item, Samples):
            cut.append(item)
            continue
        begin = 0
        while begin < len(item):
            end = begin + sizes[turn % len(sizes)]
            turn += 1
            cut.append(Samples(item.table[begin:end]))
            begin = end
    one, other = replay_watched(items, RIG), replay_watched(cut, RIG)
    assert len(one.ticks) > 100
    assert one.events == other.events
    for name in one.ticks.__slots__:
        mine, theirs = getattr(one.ticks, name), getattr(other.ticks, name)
        assert np.array_equal(mine, theirs, equal_nan=True), name


# -- a blocked tip -------------------------------------------------------------------------------


def test_the_chart_shows_the_level_before_and_the_level_of_the_fault(told):
    boom = picture_of(told).panels[0]
    before = boom.values[(boom.at_s < -1.0)]
    since = boom.values[boom.at_s > 2.0]
    assert abs(before.mean()) < 1.0
    assert since.mean() == pytest.approx(-100.0 / 8, abs=1.5)
    healthy, fault = boom.levels[:2]
    assert (healthy.value, healthy.begin_s) == (0.0, told.begin_s)
    assert fault.value == pytest.approx(since.mean(), abs=1.5)
    assert fault.begin_s == 0.0


def test_the_evidence_rises_above_what_is_needed_when_it_is_said(told):
    panel = next(panel for panel in picture_of(told).panels if panel.name == "evidence")
    known = np.isfinite(panel.values)
    at, values = panel.at_s[known], panel.values[known]
    assert (values[at < -1.0] < 100.0).all()
    assert at[-1] == pytest.approx(told.said_s)
    assert values[-1] > 100.0
    assert told.signs.crossing.nats == told.opened.details["evidence_nats"]


def test_the_reference_is_what_the_simulated_boom_passes(told):
    reference = told.signs.reference
    assert not reference.calibrated
    assert reference.of_new == pytest.approx(1.0, abs=0.02)
    assert reference.pressure_pa == pytest.approx(RIG.expected_pressure_pa, rel=0.1)
    # Three passes and a part of the fourth, less the settling after each opening.
    assert 140.0 < reference.settled_s < 190.0
    flow = RIG.nominal_conductance * math.sqrt(reference.pressure_pa)
    assert reference.flow_m3_s == pytest.approx(flow, rel=0.02)


def test_the_words_say_how_large_how_likely_how_sure_and_what_to_do(told):
    text = said_in(told)
    assert title_of(told) == "Tip blocked: alert 1 of route 1, Demo cart"
    assert told.alert.alert in text
    assert "with a probability of 95 % between" in text
    assert f"{100 * told.opened.details['probability']:.1f} %" in text
    assert "nats of evidence were needed" in text
    assert "one in 500 h" in text
    assert "cleared: The boom passes what its healthy baseline says again." in text
    titles = [section.title for section in sections_of(told)]
    assert titles.index("What to check, in this order") == len(titles) - 2
    caution, checks = sections_of(told)[-2:]
    assert "gloves on" in caution.lines[0]
    assert checks.numbered
    assert checks.lines == told.last.checks


def test_the_onset_is_told_with_its_interval_which_holds_it(told):
    details = told.opened.details
    began_s = told.opened.since.t_us * 1e-6
    assert began_s - details["since_earlier_s"] <= AT_S <= began_s + details["since_later_s"]
    assert re.search(r"between \d\.\d and \d\.\d s before", said_in(told))
    body = json.loads(explain_json(told))
    assert body["onset_earlier_s"] == details["since_earlier_s"]
    assert body["onset_later_s"] == details["since_later_s"]


def test_the_pressure_is_told_as_the_monitor_saw_it_when_it_weighed_the_classes(told):
    """From the samples around the onset, finer than the ticks tell."""
    answer = told.signs.answer
    assert answer.moved == told.opened.details["pressure_moved_log"]
    assert answer.sd == told.opened.details["pressure_moved_sd"]


@pytest.mark.parametrize(
    ("moved", "sd", "expected"),
    [
        (0.05, 0.01, "answered"),
        (0.0, 0.005, "stayed"),
        (0.02, 0.02, "both"),
        (-0.1, 0.01, "neither"),
    ],
)
def test_the_pressure_tells_a_blocked_tip_from_a_flow_sensor_as_far_as_it_can(moved, sd, expected):
    assert verdict(PressureAnswer(moved, sd), (0.018, 0.18)) == expected
    # A leak is the same the other way round.
    assert verdict(PressureAnswer(-moved, sd), (-0.018, -0.18)) == expected


# -- other alerts --------------------------------------------------------------------------------


def test_an_alert_that_is_not_of_the_boom_has_no_statistic_and_says_why(tmp_path):
    store_items(tmp_path, items_of(Fault("meter stuck", AT_S, 1.0)))
    told = explained(tmp_path, "meter_silent")
    assert told.kind == "other"
    assert [panel.name for panel in picture_of(told).panels] == ["flow", "pressure"]
    assert "no statistic" in said_in(told)
    flow = picture_of(told).panels[0]
    assert np.nanmax(flow.values[flow.at_s < -2.0]) > 3.0
    assert not (flow.values[flow.at_s > 2.0] > 0.1).any()


def test_a_tip_blocked_from_the_start_is_held_against_the_calibration():
    healthy = HealthyBoom(math.log(RIG.nominal_conductance), 0.004)
    items = items_of(Fault("tip blocked", 0.0, tip=3))
    again = replay_watched(items, RIG, healthy)
    review = review_of(again, RIG, BEGAN_US)
    alert, number = choose_alert(review.summary.alerts, "tip_blocked")
    told = explain(review, alert, number, again, healthy, "day.flog")
    assert told.kind == "start"
    assert told.signs.reference.calibrated
    text = said_in(told)
    assert "Held against the calibrated healthy boom" in text
    assert "No sequential test" in text
    boom = picture_of(told).panels[0]
    assert boom.values[boom.at_s > 2.0].mean() == pytest.approx(-12.5, abs=1.5)


def test_what_is_said_of_a_boom_with_a_law_of_its_own_follows_that_law():
    """Held at a pressure away from where the route is: what it says must be told at the route's."""
    n, at_pa = 0.55, 1.5 * RIG.expected_pressure_pa
    level = math.log(RIG.nominal_conductance) + (n - 0.5) * math.log(1.5)
    healthy = HealthyBoom(level, 0.004, n, at_pa)
    items = items_of(Fault("tip blocked", 0.0, tip=3))
    again = replay_watched(items, RIG, healthy)
    review = review_of(again, RIG, BEGAN_US)
    alert, number = choose_alert(review.summary.alerts, "tip_blocked")
    told = explain(review, alert, number, again, healthy, "day.flog")
    reference = told.signs.reference
    assert reference.calibrated
    pressure = reference.pressure_pa
    assert reference.flow_m3_s == pytest.approx(
        math.exp(level) * at_pa**0.5 * (pressure / at_pa) ** n, rel=1e-6
    )
    # At the pressure of the rig file this law passes what new tips do.
    away = math.log(pressure / RIG.expected_pressure_pa)
    assert reference.of_new == pytest.approx(math.exp((n - 0.5) * away), abs=0.002)
    boom = picture_of(told).panels[0]
    assert boom.values[boom.at_s > 2.0].mean() == pytest.approx(-12.5, abs=1.5)
    # The chart works it out anew from readings; the monitor's own ticks say the same.
    judged = 100.0 * np.expm1(told.ticks.residual[told.tick_s > 2.0])
    late = boom.values[boom.at_s > 30.0]
    assert late.mean() == pytest.approx(judged[: len(late) * 2].mean(), abs=0.5)


def test_another_mix_counts_as_healthy_from_where_it_was_noted(tmp_path):
    first, last = passes(5, SPRAY_S, 10.0, "Stop"), passes(3, SPRAY_S, 10.0, "Next")
    legs = (*first, Leg(90.0, spraying=False), *last)
    filled_s = sum(leg.duration_s for leg in first) + 45.0
    store_items(tmp_path, items_of(Fault("density", filled_s, 0.10), legs=legs))
    told = explained(tmp_path, "mix_changed")
    assert told.number is None
    assert title_of(told).startswith("Mix of another density: noted on route 1")
    assert "counts as healthy" in said_in(told)
    boom = picture_of(told).panels[0]
    assert abs(boom.values[boom.at_s > told.said_s + 2.0].mean()) < 1.5


def test_an_alert_that_grew_is_followed(tmp_path):
    faults = (Fault("tip blocked", AT_S, 0.5, tip=2), Fault("tip blocked", 225.0, tip=3))
    store_items(tmp_path, items_of(*faults))
    told = explained(tmp_path)
    levels = [one for one in picture_of(told).panels[0].levels if one.style == "fault"]
    assert levels[0].value == pytest.approx(-6.25, abs=2.0)
    assert levels[-1].value == pytest.approx(-18.75, abs=2.0)
    assert all(one.end_s == after.begin_s for one, after in pairwise(levels))
    assert "changed: 1.5 tips of 8 blocked" in said_in(told)
    assert told.signs.rough_since < 2.5, "a step is no roughness"


def test_an_alert_of_a_route_that_goes_on_is_still_open(tmp_path):
    store_items(tmp_path, items_of(Fault("tip blocked", AT_S, tip=3)), ended=False)
    told = explained(tmp_path, "tip_blocked")
    assert "It is still open." in said_in(told)
    assert doubts_of(told) == []


def test_what_the_program_said_of_itself_is_shown_with_flow_and_pressure(clogged, tmp_path):
    folder = tmp_path / "rig"
    shutil.copytree(clogged, folder)
    at = Position(0, 1500, 150_000_000)
    event = Event("port_lost.0.1500", "port_lost", "opened", at, at, "The port is gone.")
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    wall_us = BEGAN_US + at.t_us
    row = EventRow(event, wall_us, wall_us, "daemon", "own")
    recorder.commit(Batch(1, events=[row]))
    recorder.close()
    told = explained(folder, "port_lost")
    assert doubts_of(told) == [], "the detector never said it"
    assert "said it of itself" in said_in(told)
    assert [panel.name for panel in picture_of(told).panels] == ["flow", "pressure"]


def test_where_no_clock_was_set_moments_count_from_the_beginning(tmp_path):
    store_items(tmp_path, items_of(Fault("tip blocked", AT_S, tip=3)), began_us=1_000_000)
    text = said_in(explained(tmp_path, "tip_blocked"))
    assert text.startswith("0:03:1")
    assert "after the beginning" in text
    assert "1970" not in text


# -- when today's detector sees it otherwise -----------------------------------------------------


@pytest.fixture
def pieces(clogged):
    with Archive.open(clogged) as archive:
        review = load_route(archive, "last")
        stream = [item for _, item in archive.stream(review.route.id)]
    alert, number = choose_alert(review.summary.alerts, "1")
    return review, alert, number, replay_watched(stream, RIG)


def test_an_alert_that_is_no_longer_said_is_told_first_of_all(pieces):
    review, alert, number, again = pieces
    others = tuple(
        dataclasses.replace(event, alert="meter_low.0.1", code="meter_low")
        for event in again.events
        if event.alert == alert.alert
    )
    told = explain(review, alert, number, dataclasses.replace(again, events=others), None)
    assert "no longer says this alert" in doubts_of(told)[0]
    assert "Flow sensor reads low (meter_low.0.1)" in doubts_of(told)[0]
    assert "no longer says this alert" in explain_html(told)
    assert json.loads(explain_json(told))["said_again"] is False


def nudged(value: float | None) -> float | None:
    return None if value is None else math.nextafter(value, math.inf)


def test_an_alert_that_is_measured_otherwise_today_is_told_too(pieces):
    review, alert, number, again = pieces

    def doubts(change) -> str:
        events = tuple(change(event) for event in again.events)
        kept = tuple(event for event in events if event is not None)
        return " ".join(
            doubts_of(explain(review, alert, number, dataclasses.replace(again, events=kept), None))
        )

    assert doubts(lambda event: event) == ""
    said = doubts(lambda event: dataclasses.replace(event, text="Two tips, says the new one."))
    assert "it now says: Two tips, says the new one." in said
    said = doubts(lambda event: dataclasses.replace(event, details={"shift_log": -0.1}))
    assert "the same words and slightly other numbers" in said
    # Another computer's mathematics may end in another digit.
    assert doubts(lambda event: dataclasses.replace(event, size=nudged(event.size))) == ""
    said = doubts(lambda event: None if event.change == "cleared" else event)
    assert "is not said any more" in said


def test_without_the_raw_samples_what_was_said_and_the_readings_are_shown(clogged, tmp_path):
    shutil.copytree(clogged, tmp_path / "rig")
    with closing(sqlite3.connect(database(tmp_path / "rig"))) as connection, connection:
        for table in ("raw_blocks", "raw_tail"):
            connection.execute(f"DELETE FROM {table}")
    told = explained(tmp_path / "rig")
    assert told.gone
    assert "not all stored any more" in doubts_of(told)[0]
    assert "no longer says" not in "".join(doubts_of(told))
    assert [panel.name for panel in picture_of(told).panels] == ["flow", "pressure"]
    assert "tips blocked, whole or in part" in said_in(told)


# -- which alert ---------------------------------------------------------------------------------


def test_an_alert_goes_by_number_name_beginning_or_last(clogged, told):
    assert explained(clogged, told.alert.alert).number == 1
    assert explained(clogged, "TIP").alert == told.alert
    with Archive.open(clogged) as archive:
        real = [one for one in load_route(archive, "last").summary.alerts if not one.noted]
    assert explained(clogged, "last").alert == real[-1]


@pytest.mark.parametrize("wanted", ["9", "0", "tip_blocked.9.9", "", "nonsense"])
def test_an_alert_that_is_not_there_is_told_with_those_that_are(clogged, told, wanted):
    with pytest.raises(NotFoundError) as fault:
        explained(clogged, wanted)
    assert f"1 {told.alert.alert}" in str(fault.value)
    assert "\n" not in str(fault.value)


def test_a_route_without_alerts_says_so(tmp_path):
    store_items(tmp_path, items_of(legs=passes(1, 20.0, 10.0, "Stop")))
    with pytest.raises(NotFoundError, match="no alert to explain"):
        explained(tmp_path, "last")


# -- how it is drawn -----------------------------------------------------------------------------


@pytest.mark.parametrize("width", [40, 80, 140, 400])
def test_the_chart_fits_its_width_in_letters_that_any_line_carries(told, width):
    lines = chart_lines(picture_of(told), width)
    assert all(len(line) <= max(width, 66) for line in lines)
    assert all(line.isascii() and line.isprintable() for line in lines)
    text = "\n".join(lines)
    assert "onset" in text
    assert "said" in text
    assert text.count("*") > 50


def test_the_svg_is_complete_in_itself_and_has_a_title_and_a_description(told):
    root = ET.fromstring(explain_svg(told))
    space = "{http://www.w3.org/2000/svg}"
    assert root.find(f"{space}title").text == title_of(told)
    assert "said at" in root.find(f"{space}desc").text
    assert root.get("role") == "img"
    assert "href" not in explain_svg(told)
    page = explain_html(told)
    assert "<script" not in page
    assert page.count("<h2>") >= 7


def test_names_that_a_person_typed_are_escaped(told):
    bad = dataclasses.replace(
        told,
        review=dataclasses.replace(
            told.review,
            route=dataclasses.replace(told.review.route, name="<b>&\x1b[31m"),
        ),
    )
    assert "<b>" not in explain_html(bad)
    assert "\x1b" not in explain_html(bad)
    ET.fromstring(explain_svg(bad))
