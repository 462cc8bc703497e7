"""The code page in a real browser: what a phone on the rig's network sees first."""

from __future__ import annotations

import pytest
from support.live_rig import LiveRig
from support.phone import DASHBOARD, PHONE, SCHEMES, serious_issues, small_targets

pytestmark = [pytest.mark.slow, pytest.mark.timeout(60)]

LIVE = "document.body.dataset.fresh === 'live'"


@pytest.fixture(scope="module")
def rig(tmp_path_factory):
    made = LiveRig(tmp_path_factory.mktemp("rig"))
    try:
        made.start_board(pace=5)
        made.start_daemon()
        made.start_server("0.0.0.0")
        yield made
    finally:
        made.end()


def test_without_the_code_the_phone_sees_and_loads_nothing_but_the_code_page(rig, open_phone):
    phone = open_phone()
    phone.page.goto(f"{rig.address}/routes")
    assert phone.page.url.endswith("/code")
    assert phone.text("h1") == "Access code"
    names = {address.rsplit("/", 1)[-1] for address in phone.asked}
    assert names <= {"routes", "code", "look.css", "code.js", "icon.svg"}


def test_a_wrong_code_is_said_beside_the_field_and_the_right_one_opens_the_page(rig, open_phone):
    phone = open_phone()
    phone.page.goto(rig.address)
    phone.page.fill("#code", "WRONG")
    phone.page.keyboard.press("Enter")
    phone.page.wait_for_selector("#code-message")
    assert phone.page.get_attribute("#code", "aria-invalid") == "true"
    phone.complaints.clear()  # the browser tells of the answer 403 itself
    phone.page.fill("#code", rig.code())
    phone.page.click("#code-form button")
    phone.page.wait_for_selector("#verdict")
    phone.wait_for(LIVE, 15)


def test_the_code_in_the_scanned_address_is_taken_and_does_not_stay_in_the_address(rig, open_phone):
    phone = open_phone()
    phone.page.goto(f"{rig.address}/code#{rig.code().replace(' ', '')}")
    phone.page.wait_for_selector("#verdict")
    assert "#" not in phone.page.url
    phone.page.go_back()
    assert "#" not in phone.page.url


def test_a_phone_whose_code_is_no_longer_taken_is_shown_the_code_page_by_itself(rig, open_phone):
    phone = open_phone()
    phone.page.goto(f"{rig.address}/code#{rig.code().replace(' ', '')}")
    phone.page.wait_for_selector("#verdict")
    phone.wait_for(LIVE, 15)
    phone.context.clear_cookies()
    rig.kill("server")
    rig.start_server("0.0.0.0")
    phone.page.wait_for_url("**/code", timeout=15_000)
    phone.complaints.clear()  # the refused stream


@pytest.mark.parametrize("size", [PHONE, DASHBOARD])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_the_code_page_has_no_serious_issue_and_large_targets(rig, open_phone, size, scheme):
    phone = open_phone(size, scheme)
    phone.page.goto(rig.address)
    assert serious_issues(phone.page) == []
    assert small_targets(phone.page) == []
    assert phone.overflow() == (0, 0)
