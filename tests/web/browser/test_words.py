"""What the page says for each state: in words and places, so that no colour is needed."""

from __future__ import annotations

import pytest
from support.live_rig import LiveRig
from support.scripted_state import (
    A_LITTLE_HIGH,
    BOOM_SHUT,
    BROKER_AWAY,
    FAKE_STREAM,
    TANK_LOW,
    TIP_BLOCKED,
    TOO_LOW,
    state,
    tell,
)

pytestmark = pytest.mark.timeout(60)


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """Only the server: nothing was ever logged; what the page shows is made up."""
    made = LiveRig(tmp_path_factory.mktemp("rig"))
    try:
        made.start_server()
        yield made
    finally:
        made.end()


@pytest.fixture
def phone(server, open_phone):
    phone = open_phone()
    phone.page.add_init_script(FAKE_STREAM)
    phone.page.goto(server.address)
    phone.wait_for("window.stream !== undefined", 5)
    return phone


SAID = {
    "all is well": (state(), "on rate", "", ("as expected", "in band"), "Spraying"),
    "a little high": (A_LITTLE_HIGH, "high by 7 %", "", ("high by 7 %", "in band"), "Spraying"),
    "off the scale": (TOO_LOW, "low by 25 %", "low", ("low by 25 %", "above band"), "Spraying"),
    "boom shut": (BOOM_SHUT, "boom shut", "none", ("", ""), "Boom shut"),
    "opening": (
        state(phase="settling", rate={"value": None, "text": "--", "off": None, "verdict": None}),
        "opening",
        "none",
        ("", ""),
        "Opening",
    ),
    "flow sensor dead": (
        state(
            rate={"value": None, "text": "--", "off": None, "verdict": None},
            flow={"value": None, "text": "--", "verdict": None},
        ),
        "not measured",
        "none",
        ("not measured", "in band"),
        "Spraying",
    ),
    "gauge dead": (
        state(pressure={"value": None, "text": "--", "verdict": None}),
        "on rate",
        "",
        ("as expected", "not measured"),
        "Spraying",
    ),
    "right on the whole, with a bare strip": (
        state(alerts=[{**TIP_BLOCKED, "acknowledged": True}]),
        "on rate overall",
        "",
        ("as expected", "in band"),
        "Spraying",
    ),
}


@pytest.mark.parametrize("name", SAID)
def test_each_state_has_its_own_words_and_its_place_on_the_scale(phone, name):
    told, verdict, place, words, boom = SAID[name]
    tell(phone.page, told)
    assert phone.text("#verdict-word") == verdict
    assert phone.page.get_attribute("#rate-scale", "data-off") == place
    assert (phone.text("#flow-word"), phone.text("#pressure-word")) == words
    assert phone.text("#boom-word") == boom


def test_values_at_the_edges_of_their_bands_point_at_the_same_places_on_all_scales(phone):
    tell(
        phone.page,
        state(
            rate={"value": 1.045}, flow={"value": 3.8}, pressure={"value": 25}
        ),
    )  # fmt: skip
    places = phone.page.evaluate(
        "[...document.querySelectorAll('.scale')].map((s) => s.style.getPropertyValue('--at'))"
    )
    assert [float(place.rstrip("%")) for place in places] == pytest.approx([100 / 3] * 3)


def test_the_most_urgent_alert_comes_first_and_a_note_never_takes_the_screen(phone):
    page = phone.page
    tell(page, state(alerts=[BROKER_AWAY]))
    assert not page.is_visible("#alert")
    assert "NOTE" in phone.text("button.strip")
    tell(page, state(alerts=[TANK_LOW, BROKER_AWAY]))
    assert phone.text("#alert-call") == "LOOK"
    tell(page, state(alerts=[TIP_BLOCKED, TANK_LOW, BROKER_AWAY]))
    assert phone.text("#alert-call") == "STOP"
    assert phone.text("#alert-more") == "2 more are open: Tank low, Broker away"
    assert phone.text("#alert-sure") == "95 % sure: 0.8 to 1.2 tips"
    assert phone.text("#alert-since") == "for 12 s"


def test_a_tap_meant_for_something_else_does_not_put_an_alert_away(phone):
    page = phone.page
    tell(page, state(alerts=[TIP_BLOCKED]))
    page.evaluate("document.getElementById('alert-seen').click()")
    assert page.is_visible("#alert")
    page.wait_for_timeout(750)
    page.evaluate("document.getElementById('alert-seen').click()")
    assert not page.is_visible("#alert")
    assert "Tip blocked" in phone.text("button.strip")
    phone.complaints.clear()  # the server knows of no such alert


def test_an_alert_seen_on_another_phone_leaves_this_one_too(phone):
    tell(phone.page, state(alerts=[TIP_BLOCKED]))
    tell(phone.page, state(alerts=[{**TIP_BLOCKED, "acknowledged": True}]))
    assert not phone.page.is_visible("#alert")


def test_an_alert_that_grew_after_it_was_seen_takes_the_screen_again(phone):
    seen = {**TIP_BLOCKED, "acknowledged": True}
    tell(phone.page, state(alerts=[seen]))
    assert not phone.page.is_visible("#alert")
    # The same thing measured better is no news.
    tell(phone.page, state(alerts=[{**seen, "text": "About 1.1 of 8 tips blocked."}]))
    assert not phone.page.is_visible("#alert")
    tell(phone.page, state(alerts=[{**seen, "text": "About 3.0 of 8 tips blocked.", "news": 2}]))
    assert phone.text("#alert-text") == "About 3.0 of 8 tips blocked."
    phone.see_all_alerts()
    assert not phone.page.is_visible("#alert")
    phone.complaints.clear()  # the server knows of no such alert


def test_an_alert_that_clears_takes_itself_away_and_says_so(phone):
    tell(phone.page, state(alerts=[TIP_BLOCKED]))
    cleared = {"id": TIP_BLOCKED["id"], "title": "Tip blocked", "text": "...", "ago_s": 0.3}
    tell(phone.page, state(cleared=[cleared]))
    assert not phone.page.is_visible("#alert")
    assert "Tip blocked" in phone.text(".strip--over") and "Cleared" in phone.text(".strip--over")
    assert phone.text("#say") == "Cleared: Tip blocked"
    tell(phone.page, state(cleared=[{**cleared, "ago_s": 30.0}]))
    assert phone.page.locator(".strip--over").count() == 0


def test_the_alerts_age_and_the_datas_age_go_on_between_messages(phone):
    tell(phone.page, state(alerts=[TIP_BLOCKED], age_s=0.0))
    phone.wait_for("document.getElementById('alert-since').textContent === 'for 13 s'", 2)
    # The screen of an alert also says when nothing new comes.
    phone.wait_for("document.getElementById('alert-now').textContent === 'no connection'", 4)
    phone.complaints.clear()  # it asks the server whether its code is still taken


def test_while_nothing_was_ever_logged_the_page_says_why(phone):
    tell(phone.page, {"error": "nothing was logged into this folder yet"})
    assert phone.text("#verdict-word") == "no data yet"
    assert phone.text("#reason") == "Nothing was logged into this folder yet"


def test_what_a_person_typed_is_shown_as_text_and_never_as_markup(phone):
    name = "<img src=x onerror=alert(1)> & 'lawn'"
    tell(phone.page, state(stop={"name": name}, alerts=[{**TIP_BLOCKED, "text": name}]))
    assert phone.text("#place") == name
    assert phone.text("#alert-text") == name
    assert phone.page.locator("img").count() == 0


def test_the_longest_texts_do_not_push_the_page_wider_than_the_screen(phone):
    long = "Very-long-name-without-any-space-" * 4
    told = state(
        stop={"name": long, "area": "12,345,678 ft2", "volume": "123,456.7 gal"},
        alerts=[{**TIP_BLOCKED, "acknowledged": True, "title": long}],
        rate={"value": 123.4, "text": "123.45", "off": 111.0, "verdict": "too high"},
    )
    tell(phone.page, told)
    assert phone.text("#verdict-word") == "high by 999 %"
    assert phone.overflow()[1] <= 0


def test_a_phone_whose_browser_takes_part_of_the_height_still_shows_all_without_scrolling(phone):
    phone.page.set_viewport_size({"width": 390, "height": 664})
    tell(phone.page, TOO_LOW)
    assert phone.overflow() == (0, 0)


def test_metric_rigs_have_their_own_units_and_decimals(phone):
    told = state(
        rig={"units": "metric"},
        rate={"value": 441.0, "text": "441", "unit": "L/ha", "target": 448.4, "low": 426.0,
              "high": 470.8, "off": -0.0165},
        pressure={"value": 2.63, "text": "2.63", "unit": "bar", "low": 1.72, "high": 3.45},
    )  # fmt: skip
    tell(phone.page, told)
    assert (phone.text("#rate-value"), phone.text("#rate-target")) == ("441", "448")
    assert phone.text("#pressure-scale").split() == ["1.7", "3.5"]
    assert phone.text("#verdict-word") == "on rate"


COUNT_TONES = """
window.tones = []; window.shaken = 0;
const made = AudioContext.prototype.createOscillator;
AudioContext.prototype.createOscillator = function () {
  const tone = made.call(this); window.tones.push(tone); return tone;
};
navigator.vibrate = (pattern) => { if (pattern) window.shaken += 1; return true; };
"""


def test_asked_for_sound_and_vibration_call_until_the_alert_is_seen(server, open_phone):
    phone = open_phone()
    page = phone.page
    page.add_init_script(FAKE_STREAM + COUNT_TONES)
    page.goto(server.address)
    tell(page, state(alerts=[TIP_BLOCKED]))
    assert page.evaluate("[tones.length, shaken]") == [0, 0]
    tell(page, state())
    page.click("#sound")
    phone.wait_for("document.getElementById('sound-word').textContent === 'on'", 3)
    page.evaluate("tones.length = 0; shaken = 0")
    tell(page, state(alerts=[TIP_BLOCKED]))
    assert page.evaluate("[tones.length, shaken]") == [4, 1]
    assert page.evaluate("new Set(tones.map((tone) => tone.frequency.value)).size") == 2
    phone.wait_for("tones.length > 4", 3)
    phone.see_all_alerts()
    heard = page.evaluate("tones.length")
    page.wait_for_timeout(2000)
    assert page.evaluate("tones.length") == heard
    phone.complaints.clear()  # the server knows of no such alert


def test_a_voice_hears_a_change_of_kind_and_not_every_percent(phone):
    tell(phone.page, A_LITTLE_HIGH)
    assert phone.text("#say") == "high by 7 %"
    tell(phone.page, state(rate={"off": 0.09, "verdict": "a little high"}))
    assert phone.text("#say") == "high by 7 %"
    tell(phone.page, state())
    assert phone.text("#say") == "on rate"
