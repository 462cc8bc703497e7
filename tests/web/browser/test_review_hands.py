"""The review by hand: keys, wheel, fingers, and corrections with their progress."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from support.live_rig import LiveRig
from support.phone import LAPTOP, PHONE

sys.path.insert(0, str(Path(__file__).parents[2] / "review"))

from stored import RIG, RIG_TEXT, store_scenario

from flowlog.calibrating.rows import Noted, row_of
from flowlog.calibration.meter import meter
from flowlog.calibration.meter_runs import MeterRun
from flowlog.store.recorder import Recorder

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]


@pytest.fixture(scope="module")
def rig(tmp_path_factory):
    made = LiveRig(tmp_path_factory.mktemp("rig"))
    try:
        store_scenario(made.data)
        runs = [MeterRun(RIG.meter.pulses_per_m3 * 0.0208, 80.0, volume_m3=0.02) for _ in range(3)]
        recorder = Recorder.open(made.data, RIG, RIG_TEXT)
        recorder.add_calibration(row_of(meter(runs, rig_meter=RIG.meter), RIG, Noted("Ann")))
        recorder.close()
        made.start_server()
        yield made
    finally:
        made.end()


def window(page) -> tuple[float, float]:
    """What the address says is shown; the whole route has none."""
    found = page.evaluate(
        "[...new URLSearchParams(location.search)].map(([name, value]) => Number(value))"
    )
    return (found[0], found[1]) if found else (0.0, float("inf"))


def settle(page) -> None:
    page.wait_for_timeout(400)


def test_keys_zoom_to_ten_seconds_and_back_and_the_address_follows(rig, open_phone):
    phone = open_phone(LAPTOP)
    page = phone.page
    page.goto(rig.address + "/routes/1")
    page.focus("#drawing")
    for _ in range(9):
        page.keyboard.press("+")
    settle(page)
    begin, end = window(page)
    assert end - begin == pytest.approx(10, abs=0.01)
    assert phone.text("#window") == "10 s are shown"
    page.keyboard.press("ArrowRight")
    settle(page)
    assert window(page)[0] == pytest.approx(begin + 2, abs=0.01)
    # Who opens that address sees the same window.
    shown = page.get_attribute("#drawing svg desc", "id"), page.inner_html("#drawing desc")
    page.reload()
    phone.wait_for("document.querySelector('#drawing').dataset.fitted !== undefined", 5)
    assert shown == (
        page.get_attribute("#drawing svg desc", "id"),
        page.inner_html("#drawing desc"),
    )
    page.focus("#drawing")
    page.keyboard.press("0")
    settle(page)
    assert window(page) == (0.0, float("inf"))


def test_wheel_and_dragging_move_what_is_shown_and_the_page_still_scrolls(rig, open_phone):
    phone = open_phone(LAPTOP)
    page = phone.page
    page.goto(rig.address + "/routes/1")
    page.locator("#drawing").scroll_into_view_if_needed()
    box = page.locator("#drawing").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 150)
    before = page.evaluate("scrollY")
    page.mouse.wheel(0, 120)
    settle(page)
    assert window(page) == (0.0, float("inf"))
    page.mouse.wheel(0, -120)
    page.evaluate(f"scrollTo(0, {before})")
    page.keyboard.down("Control")
    for _ in range(3):
        page.mouse.wheel(0, -100)
    page.keyboard.up("Control")
    settle(page)
    begin, end = window(page)
    assert end - begin < 600
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2 - 200, box["y"] + 150, steps=4)
    page.mouse.up()
    settle(page)
    moved, moved_end = window(page)
    assert moved > begin
    assert moved_end - moved == pytest.approx(end - begin, rel=0.01)


def test_two_fingers_zoom(rig, open_phone):
    phone = open_phone(PHONE)
    page = phone.page
    page.goto(rig.address + "/routes/1")
    page.locator("#drawing").scroll_into_view_if_needed()
    box = page.locator("#drawing").bounding_box()
    hands = phone.context.new_cdp_session(page)
    y = box["y"] + 150

    def touch(kind: str, *places: float) -> None:
        points = [{"x": box["x"] + x, "y": y, "id": number} for number, x in enumerate(places)]
        hands.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 150.0, 220.0)
    for step in range(1, 8):
        touch("touchMove", 150.0 - 10 * step, 220.0 + 10 * step)
    touch("touchEnd")
    settle(page)
    begin, end = window(page)
    assert end - begin < 500


def test_what_cannot_be_is_told_beside_the_form_and_another_meter_is_derived(rig, open_phone):
    phone = open_phone(PHONE)
    page = phone.page
    page.goto(rig.address + "/routes/1")
    page.fill("#area", "2 jugs")
    page.click("button[value=area]")
    page.wait_for_selector("#correction-says:not([hidden])")
    assert "is not an area" in phone.text("#correction-says")
    phone.complaints.clear()  # the browser tells of the answer 400 itself

    before = phone.text(".figures")
    page.select_option("#kind-meter", index=1)
    page.click("button[value=calibrations]")
    page.wait_for_selector("[data-derive] progress:not([hidden])")
    derived = page.get_by_text("Derived anew with meter number 1")
    derived.wait_for(timeout=60_000)
    assert phone.text(".figures") != before
    assert page.input_value("#kind-meter") == "1"
    page.click("[data-undo]")
    page.locator(".undone").wait_for()
    assert phone.text(".figures") == before
    page.click("[data-undo] >> text=Hold again")
    derived.wait_for()
