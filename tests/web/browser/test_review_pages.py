"""The pages of the review: axe-core in light and dark, room on a phone, the chart by hand."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from support.live_rig import LiveRig
from support.phone import PHONE, SCHEMES, SIZES, serious_issues, small_targets

sys.path.insert(0, str(Path(__file__).parents[2] / "report"))

from reported import store_morning

pytestmark = [pytest.mark.slow, pytest.mark.timeout(90)]


@pytest.fixture(scope="module")
def rig(tmp_path_factory):
    made = LiveRig(tmp_path_factory.mktemp("rig"))
    try:
        store_morning(made.data, named=("Mill Lane 4", "Mill Lane 9", "Schoolhouse green"))
        made.start_server()
        yield made
    finally:
        made.end()


@pytest.mark.parametrize(
    "path", ["/routes", "/routes/1", "/season", "/compare?a=1&b=1", "/nowhere"]
)
def test_no_page_of_the_review_has_a_serious_issue_or_is_wider_than_the_screen(
    rig, open_phone, path
):
    phone = open_phone(PHONE)
    phone.page.goto(rig.address + path)
    phone.page.wait_for_timeout(200)
    for scheme in SCHEMES:
        phone.page.emulate_media(color_scheme=scheme)
        assert serious_issues(phone.page) == [], scheme
    for width, height in SIZES:
        phone.page.set_viewport_size({"width": width, "height": height})
        phone.page.wait_for_timeout(200)
        assert small_targets(phone.page) == [], width
        assert phone.overflow()[1] <= 0, width
    if path == "/nowhere":
        phone.complaints.clear()  # the browser tells of the answer 404 itself


def test_the_chart_is_drawn_for_the_width_of_the_phone_and_its_letters_can_be_read(rig, open_phone):
    phone = open_phone(PHONE)
    phone.page.goto(rig.address + "/routes/1")
    phone.wait_for("document.querySelector('#drawing').dataset.fitted !== undefined", 5)
    smallest = phone.page.evaluate(
        "Math.min(...[...document.querySelectorAll('#drawing text')]"
        ".map((text) => text.getBoundingClientRect().height))"
    )
    assert smallest > 9
