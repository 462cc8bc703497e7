"""The job on the phone as a whole: simulated rig, real daemon, real server, real browser."""

from __future__ import annotations

import time

import pytest
from support.live_rig import wait_until

FIRST_VIEW_MAX = 100_000
"""Bytes of the first view on the wire, headers and all."""

# When the alert took the screen, told by the page's own clock, which is the machine's.
WATCH = """addEventListener('DOMContentLoaded', () => {
  const alert = document.getElementById('alert');
  if (alert) new MutationObserver(() => { if (alert.open) window.takenAt ??= Date.now(); })
    .observe(alert, {attributes: true});
});"""


def bytes_of_first_view(phone, address: str) -> int:
    session = phone.context.new_cdp_session(phone.page)
    session.send("Network.enable")
    received = []
    session.on("Network.loadingFinished", lambda event: received.append(event["encodedDataLength"]))
    phone.page.goto(address)
    phone.wait_for("document.body.dataset.fresh === 'live'", 10)
    return int(sum(received))


@pytest.mark.slow
@pytest.mark.timeout(180)
def test_the_tip_clogs_and_the_phone_says_so_until_it_is_clean(rig, open_phone):
    rig.start(pace=25)
    phone = open_phone()
    page = phone.page
    page.add_init_script(WATCH)
    size = bytes_of_first_view(phone, rig.address)
    assert 10_000 < size < FIRST_VIEW_MAX

    # All is well, and nothing asks for attention.
    phone.wait_for("document.getElementById('boom-word').textContent === 'Spraying'", 10)
    phone.wait_for("document.getElementById('verdict-word').textContent === 'on rate'", 10)
    assert not page.is_visible("#alert")
    assert page.inner_text("#rate-target") == "1.10"
    assert "ft2" in page.inner_text("#tank-reach")

    # The tip clogs: the alert is there within 2 s of being in the store.
    opened = "SELECT count(*) FROM events WHERE code = 'tip_blocked' AND change = 'opened'"
    wait_until(lambda: rig.query(opened) == [(1,)], 40, "the daemon to open the alert")
    stored_ms = time.time() * 1000
    page.wait_for_selector("#alert[open]", timeout=10_000)
    assert page.evaluate("window.takenAt") - stored_ms < 2000
    assert page.inner_text("#alert-call") == "STOP"
    assert page.inner_text("#alert-title") == "Tip blocked"
    assert "tip" in page.inner_text("#alert-text")
    assert page.locator("#alert-checks li").count() >= 2
    assert page.evaluate("document.activeElement.closest('#alert') !== null")
    begun = page.inner_text("#alert-since")
    phone.wait_for(f"document.getElementById('alert-since').textContent !== {begun!r}", 3)
    covers = page.locator("#alert").bounding_box()
    assert (covers["width"], covers["height"]) == (390, 844)

    # Seen: it leaves the screen, stays as a strip, and the rig knows.
    titles = phone.see_all_alerts()
    assert titles[0] == "Tip blocked"
    strip = page.locator("button.strip", has_text="Tip blocked")
    assert "STOP" in strip.inner_text()
    wait_until(
        lambda: rig.query("SELECT count(*) FROM alerts_seen") == [(len(titles),)],
        10,
        "the acknowledgements in the store",
    )
    other = open_phone()
    other.page.goto(rig.address)
    other.page.wait_for_selector("button.strip", timeout=5000)
    assert not other.page.is_visible("#alert")

    # A stop is marked, with its name and its known area.
    page.click("#mark")
    page.fill("#mark-name", "Chapel <b>lawn</b>")
    page.fill("#mark-area", "12000 ft2")
    page.click("#mark-begin")
    page.wait_for_selector("#sheet", state="hidden")
    phone.wait_for("document.getElementById('reason').textContent.includes('begins here')", 2)
    named = "SELECT count(*) FROM stops WHERE name = 'Chapel <b>lawn</b>' AND area_m2 > 1114"
    wait_until(lambda: rig.query(named) == [(1,)], 10, "the mark in the store")
    phone.wait_for("document.getElementById('place').textContent.startsWith('Chapel <b>')", 10)

    # The tank is filled.
    page.click("#mark")
    page.click("#mark-fill")
    page.wait_for_selector("#sheet", state="hidden")
    phone.wait_for("parseFloat(document.getElementById('tank-value').textContent) > 190", 10)

    # A slip of the hand is said in the sheet, which stays.
    page.click("#mark")
    page.fill("#mark-area", "twelve acres")
    page.click("#mark-name-it")
    page.wait_for_selector("#sheet-fault:not([hidden])")
    page.click("#sheet-close")
    phone.complaints.clear()  # the refused request is the server's answer, not a fault

    # Clean again: it says so and takes the alert away by itself.
    page.wait_for_selector(".strip--over", timeout=40_000)
    assert "Cleared" in page.inner_text(".strip--over")
    assert page.locator("button.strip", has_text="Tip blocked").count() == 0

    # Afterwards, on the same phone: the route is looked at, zoomed, corrected, reported.
    page.click("text=Routes")
    page.click("table.routes tbody a")
    page.wait_for_selector("#drawing svg")
    whole = page.inner_text("#window")
    page.locator("a[data-show]", has_text="Tip blocked").click()
    phone.wait_for(f"document.getElementById('window').textContent !== {whole!r}", 3)
    for _ in range(12):
        page.click("[data-way=closer]")
    phone.wait_for("document.getElementById('window').textContent === '10 s are shown'", 3)
    phone.wait_for("location.search.includes('from=')", 3)
    page.wait_for_timeout(500)
    page.evaluate("window.drawn = document.getElementById('drawing').innerHTML")
    page.focus("#drawing")
    page.keyboard.press("ArrowLeft")
    phone.wait_for("document.getElementById('drawing').innerHTML !== window.drawn", 5)
    kept = page.url
    page.reload()
    assert page.url == kept
    assert page.inner_text("#window") == "10 s are shown"

    page.select_option("#stop", index=0)
    page.fill("#name", "Mill Lane <4>")
    page.click("text=Call it so")
    renamed = page.locator("th a", has_text="Mill Lane <4>")
    renamed.wait_for(timeout=15_000)

    with page.expect_download(timeout=30_000) as download:
        page.click("text=Report as PDF")
    assert download.value.path().read_bytes().startswith(b"%PDF-")
    assert download.value.suggested_filename.endswith(".pdf")
    page.click("a[data-report][href$='report.html']")
    page.wait_for_load_state()
    assert "Mill Lane <4>" in page.inner_text("body")
    # The report forbids every script, the one too that this test puts into each page.
    phone.complaints[:] = [one for one in phone.complaints if "sandboxed" not in one]

    assert all(asked.startswith((rig.address, f"blob:{rig.address}")) for asked in phone.asked)
    assert len(phone.asked) > 5


@pytest.fixture
def rig(tmp_path):
    from support.live_rig import LiveRig

    made = LiveRig(tmp_path, clog_s=380, clean_s=800)
    yield made
    made.end()
