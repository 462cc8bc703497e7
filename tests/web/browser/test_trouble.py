"""What the phone shows when something between the board and the screen fails."""

from __future__ import annotations

import pytest
from support.live_rig import LiveRig, wait_until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]

VERDICT = "document.getElementById('verdict-word').textContent"
LIVE = "document.body.dataset.fresh === 'live'"


@pytest.fixture(scope="module")
def rig(tmp_path_factory):
    made = LiveRig(tmp_path_factory.mktemp("rig"), clog_s=3500, clean_s=3600)
    try:
        made.start(pace=10)
        yield made
    finally:
        made.end()


@pytest.fixture
def phone(rig, open_phone):
    phone = open_phone()
    phone.page.goto(rig.address)
    phone.wait_for(LIVE, 15)
    return phone


def struck(phone, selector: str) -> bool:
    return "line-through" in phone.page.evaluate(
        f"getComputedStyle(document.querySelector({selector!r})).textDecorationLine"
    )


def test_the_daemon_stops_and_the_phone_says_so_in_3_s_and_goes_on_when_it_is_back(rig, phone):
    rig.stop("daemon")
    phone.wait_for(f"{VERDICT} === 'logging stopped'", 3)
    assert struck(phone, "#rate-value")
    assert "flowlog run" in phone.text("#reason")
    rig.start_daemon()
    phone.wait_for(LIVE, 20)
    assert not struck(phone, "#rate-value")


def test_old_numbers_look_old_at_once_and_go_away_after_ten_seconds(rig, phone):
    rig.pause("board")
    try:
        phone.wait_for(f"{VERDICT}.startsWith('no data for')", 6)
        assert struck(phone, "#rate-value") and struck(phone, "#tank-value")
        assert (
            phone.page.evaluate(
                "getComputedStyle(document.querySelector('#rate-scale .scale-pointer')).visibility"
            )
            == "hidden"
        )
        assert "old" in phone.text("#age")
        phone.wait_for("document.getElementById('rate-value').textContent === '--'", 12)
    finally:
        rig.go_on("board")
    phone.wait_for(LIVE, 15)


def test_a_network_that_goes_without_a_farewell_is_noticed_by_the_phones_own_clock(rig, phone):
    rig.pause("server")
    try:
        phone.wait_for(f"{VERDICT} === 'no connection'", 3.2)
        assert struck(phone, "#rate-value")
    finally:
        rig.go_on("server")
    phone.wait_for(LIVE, 10)


def test_a_server_that_is_killed_and_started_again_is_found_again(rig, phone):
    rig.kill("server")
    phone.wait_for(f"{VERDICT} === 'no connection'", 3)
    rig.start_server()
    phone.wait_for(LIVE, 10)


def test_after_a_sleep_nothing_old_is_shown_as_new_and_the_whole_state_comes_again(rig, phone):
    page = phone.page
    session = phone.context.new_cdp_session(page)
    session.send("Page.enable")
    before = phone.text("#route")
    session.send("Page.setWebLifecycleState", {"state": "frozen"})
    wanted = rig.count("readings") + 60
    wait_until(lambda: rig.count("readings") > wanted, 20, "the rig to go on meanwhile")
    session.send("Page.setWebLifecycleState", {"state": "active"})
    phone.wait_for(LIVE, 5)
    assert phone.text("#route") != before
