"""Each state of the page while spraying: axe-core, contrast of 7:1, targets, and room."""

from __future__ import annotations

import pytest
from support.live_rig import LiveRig
from support.phone import SCHEMES, SIZES, serious_issues, small_targets

from flowlog.monitor.creep import Creep
from flowlog.monitor.rules.coming import describe_coming
from flowlog.simulator.run import plain_rig

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]

LIVE = "document.body.dataset.fresh === 'live'"


@pytest.fixture(scope="module")
def rig(tmp_path_factory):
    made = LiveRig(tmp_path_factory.mktemp("rig"), clog_s=380, clean_s=4000)
    try:
        made.start(pace=40)
        yield made
    finally:
        made.end()


def check(phone, *, may_scroll: bool = False) -> None:
    """In light and dark, at all sizes."""
    for scheme in SCHEMES:
        phone.page.emulate_media(color_scheme=scheme)
        for width, height in SIZES:
            phone.page.set_viewport_size({"width": width, "height": height})
            where = f"{scheme} {width}x{height}"
            assert small_targets(phone.page) == [], where
            high, wide = phone.overflow()
            assert wide <= 0, where
            assert may_scroll or high <= 0, where
        assert serious_issues(phone.page) == [], scheme


def test_the_page_its_sheet_and_the_alert_have_no_serious_issue_and_fit(rig, open_phone):
    phone = open_phone()
    page = phone.page
    page.goto(rig.address)
    phone.wait_for(LIVE, 10)
    page.wait_for_selector("#alert[open]", timeout=40_000)
    check(phone)
    # The checks and the button are there without scrolling, on all screens.
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        room = page.evaluate("document.getElementById('alert').scrollHeight - innerHeight")
        assert room <= 0, (width, height)
    # And with the longest text that there is about a tip: one that is still clogging.
    _size, text = describe_coming(
        plain_rig(tips=12),
        "tip_blocked",
        Creep(3.0, 3.4, 2.6, 6.0, -0.15, 0.01, -0.14, -0.2, -0.35, 0.9),
        0.01,
        {"tip_blocked": 0.7, "meter_low": 0.3},
    )
    page.evaluate("(text) => { document.getElementById('alert-text').textContent = text }", text)
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        room = page.evaluate("document.getElementById('alert').scrollHeight - innerHeight")
        assert room <= 0, (width, height, room)
    # Who looks at another page meanwhile is told there.
    elsewhere = open_phone()
    elsewhere.page.goto(rig.address + "/routes")
    elsewhere.page.wait_for_selector("#elsewhere", timeout=8000)
    assert elsewhere.text("#elsewhere") == "STOP: Tip blocked"
    elsewhere.complaints.clear()
    elsewhere.page.close()

    phone.see_all_alerts()
    check(phone)
    page.click("#mark")
    check(phone)
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        room = page.evaluate(
            "(({scrollHeight: s, clientHeight: c}) => s - c)(document.getElementById('sheet'))"
        )
        assert room <= 0, (width, height)
    page.click("#sheet-close")

    # By keyboard alone: a strip opens its alert, Escape puts it away, focus is always somewhere.
    page.focus("button.strip")
    page.keyboard.press("Enter")
    page.wait_for_selector("#alert[open]")
    assert page.inner_text("#alert-seen") == "Back"
    page.wait_for_timeout(750)
    page.keyboard.press("Escape")
    page.wait_for_selector("#alert", state="hidden")
    assert page.evaluate("document.activeElement.matches('button.strip')")

    # Stale data, too.
    rig.pause("board")
    try:
        phone.wait_for("document.body.dataset.fresh === 'late'", 6)
        check(phone)
    finally:
        rig.go_on("board")


def test_every_state_is_told_without_any_colour(rig, open_phone):
    """With all colours forced to two, words and forms still differ."""
    phone = open_phone(forced_colors="active")
    page = phone.page
    page.goto(rig.address)
    phone.wait_for(LIVE, 10)
    phone.see_all_alerts()
    assert page.inner_text("#verdict-word").strip() != ""
    assert page.locator(".scale-pointer").count() == 3
    assert {"Flow", "Pressure"} <= set(page.locator(".quantity h2").all_inner_texts())
    for name in ("rate", "flow", "pressure"):
        label = page.get_attribute(f"#{name}-scale", "aria-label")
        assert label.split(": ")[-1] in {"in it", "below it", "above it", "no value"}


def test_sound_is_off_until_asked_for_and_its_button_says_so(rig, open_phone):
    phone = open_phone()
    page = phone.page
    page.goto(rig.address)
    phone.wait_for(LIVE, 10)
    phone.see_all_alerts()
    assert page.inner_text("#sound-word") == "off"
    page.click("#sound")
    phone.wait_for("document.getElementById('sound-word').textContent === 'on'", 3)
    assert page.get_attribute("#sound", "aria-pressed") == "true"
    page.reload()
    phone.wait_for(LIVE, 10)
    # After a reload a browser wants a touch again: the word says so instead of promising sound.
    assert page.inner_text("#sound-word") == "touch"
