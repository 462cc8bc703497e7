"""The review in words and tables, at 80 columns and without colour."""

from __future__ import annotations

import io
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

sys.path.insert(0, str(Path(__file__).parent))

from stored import BEGAN_US, RIG, store_items, store_scenario

from flowlog.monitor.outputs import Event, Position
from flowlog.review.load import load_numbered, load_route
from flowlog.review.route import clock_word
from flowlog.review.text import route_list, route_view
from flowlog.store.archive import Archive
from flowlog.store.rows import EventRow, StopMark


def printed(shown, width: int = 80) -> str:
    out = io.StringIO()
    Console(file=out, width=width, no_color=True).print(shown)
    return out.getvalue()


@pytest.fixture(scope="module")
def review(tmp_path_factory):
    folder = tmp_path_factory.mktemp("morning")
    marks = (
        StopMark("Mill Lane 9", "name", BEGAN_US, 0, 500_000_000, "uid-1"),
        StopMark("never", "begin", BEGAN_US, 0, 856_900_000, "uid-2"),
    )
    store_scenario(folder, marks=marks)
    with Archive.open(folder) as archive:
        return load_route(archive, "last")


def test_the_route_view_says_what_went_where_at_what_rate_and_how_sure(review):
    text = printed(route_view(review))
    for part in (
        "Route 1, Demo cart",
        "Area       35,464 ft2",
        "gal/1000 ft2 +-7 %; asked 1.10 gal/1000 ft2",
        "Mill Lane 9",
        "Tip blocked, stop 2: began about",
        "How sure this is",
        "speed",
        "All 8565 samples arrived.",
        "The mark begin 'never' has no spraying that belongs to it.",
    ):
        assert part in text


def test_the_route_view_fits_80_columns_and_has_no_control_characters(review):
    lines = printed(route_view(review)).split("\n")
    assert max(len(line) for line in lines) <= 80
    assert "\x1b" not in "".join(lines)


@pytest.mark.parametrize("width", [20, 40, 200])
def test_any_width_will_do(review, width):
    assert max(len(line) for line in printed(route_view(review), width).split("\n")) <= width


def test_the_list_has_a_line_for_each_route(review):
    text = printed(route_list(RIG, [review, replace(review, number=2)]))
    assert "Demo cart: 2 routes" in text
    assert max(len(line) for line in text.split("\n")) <= 80
    assert "35,464" in text


def test_an_empty_list_says_so():
    assert "Nothing was recorded yet" in printed(route_list(RIG, []))


def test_a_route_without_readings_can_be_shown(tmp_path):
    store_items(tmp_path, [], ended=False)
    with Archive.open(tmp_path) as archive:
        text = printed(route_view(load_numbered(archive, 1, archive.routes()[0])))
    assert "Nothing was sprayed." in text
    assert "still open" in text
    assert "none" in text


def test_markup_and_control_characters_in_names_are_shown_as_they_are(review):
    route = replace(review.route, name="[red]x[/red]\x1b[2J")
    text = printed(route_view(replace(review, route=route)))
    assert "[red]x[/red]" in text
    assert "\x1b" not in text


def clock_event(code: str) -> EventRow:
    event = Event(code, code, "noted", Position(0, 0, 0), Position(0, 0, 0), "Set.")
    return EventRow(event, 0, 0, "daemon", "u")


def test_how_far_times_can_be_trusted():
    good = {"wall_us": np.array([BEGAN_US])}
    assert clock_word(good, []) == "unconfirmed"
    assert clock_word(good, [clock_event("clock_set")]) == "corrected"
    assert clock_word({"wall_us": np.array([5_000_000, BEGAN_US])}, []) == "none"
    assert clock_word({"wall_us": np.array([], dtype=np.int64)}, []) == "none"


def test_an_unset_clock_is_told_in_the_view(review):
    columns = {**review.columns, "wall_us": review.columns["wall_us"] - BEGAN_US}
    text = printed(route_view(replace(review, columns=columns, clock="none")))
    assert "not usable" in text
