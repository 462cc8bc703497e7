"""Pictures of the pages for people to look at: `python tests/web/browser/screenshots.py FOLDER`.

A simulated morning runs through the real daemon and server; each page is taken at 390x844, 800x480
and 1280x800, light and dark, and once as seen without colours. States that the simulation does not
hold still in are made up (their names begin with `made-up`). Takes about two minutes.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from support.live_rig import LiveRig
from support.phone import SCHEMES, SIZES, Phone, chromium
from support.scripted_state import (
    A_LITTLE_HIGH,
    BOOM_SHUT,
    FAKE_STREAM,
    TANK_LOW,
    TIP_BLOCKED,
    TOO_LOW,
    state,
    tell,
)

LIVE = "document.body.dataset.fresh === 'live'"
MADE_UP = {
    "boom-shut": BOOM_SHUT,
    "a-little-high": A_LITTLE_HIGH,
    "too-low": TOO_LOW,
    "look": state(alerts=[TANK_LOW]),
    "two-alerts": state(alerts=[TIP_BLOCKED, TANK_LOW]),
    "two-seen": state(alerts=[{**one, "acknowledged": True} for one in (TIP_BLOCKED, TANK_LOW)]),
    "cleared": state(
        cleared=[{"id": "x", "title": "Tip blocked", "text": "The boom is as before.", "ago_s": 1}]
    ),
}
AFTERWARDS = {
    "routes": "/routes",
    "route": "/routes/1",
    "route-ten-seconds": "/routes/1?from=60&to=70",
    "compare": "/compare?a=1&b=1",
    "season": "/season",
}


class Camera:
    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._number = 0
        folder.mkdir(parents=True, exist_ok=True)

    def take(self, phone: Phone, name: str, *, whole: bool = False) -> None:
        """One picture for each size and scheme, of the screen or of the page's whole length."""
        self._number += 1
        for width, height in SIZES:
            phone.page.set_viewport_size({"width": width, "height": height})
            if whole:
                # A chart is drawn for the width that it has: by the server, after a moment.
                phone.page.wait_for_timeout(700)
            for scheme in SCHEMES:
                phone.page.emulate_media(color_scheme=scheme)
                file = f"{self._number:02d}-{name}-{width}x{height}-{scheme}.png"
                phone.page.screenshot(path=str(self._folder / file), full_page=whole)
        self._without_colour(phone, name)
        print(name)

    def _without_colour(self, phone: Phone, name: str) -> None:
        """As somebody sees it who sees no colours at all."""
        session = phone.context.new_cdp_session(phone.page)
        session.send("Emulation.setEmulatedVisionDeficiency", {"type": "achromatopsia"})
        phone.page.set_viewport_size({"width": SIZES[0][0], "height": SIZES[0][1]})
        phone.page.emulate_media(color_scheme="light")
        file = f"{self._number:02d}-{name}-without-colour.png"
        phone.page.screenshot(path=str(self._folder / file))
        session.detach()


def spraying(camera: Camera, rig: LiveRig, phone: Phone) -> None:
    page = phone.page
    page.goto(rig.address)
    phone.wait_for(LIVE, 15)
    phone.wait_for("document.getElementById('verdict-word').textContent === 'on rate'", 20)
    camera.take(phone, "spraying")
    page.click("#mark")
    camera.take(phone, "mark-a-stop")
    page.click("#sheet-close")
    page.wait_for_selector("#alert[open]", timeout=60_000)
    camera.take(phone, "alert")
    phone.see_all_alerts()
    camera.take(phone, "acknowledged")
    rig.pause("board")
    phone.wait_for("document.body.dataset.fresh === 'late'", 8)
    camera.take(phone, "stale")
    rig.go_on("board")
    phone.wait_for(LIVE, 15)
    rig.pause("server")
    phone.wait_for("document.getElementById('verdict-word').textContent === 'no connection'", 6)
    camera.take(phone, "no-connection")
    rig.go_on("server")
    phone.wait_for(LIVE, 15)
    rig.stop("daemon")
    phone.wait_for("document.getElementById('verdict-word').textContent === 'logging stopped'", 6)
    camera.take(phone, "logging-stopped")


def made_up(camera: Camera, rig: LiveRig, phone: Phone) -> None:
    phone.page.add_init_script(FAKE_STREAM)
    for name, told in MADE_UP.items():
        phone.page.goto(rig.address)
        tell(phone.page, told)
        phone.page.wait_for_timeout(100)
        # As a stream would, so that it does not grow old while the pictures are taken.
        phone.page.evaluate(
            "(told) => setInterval(() => tell('state', told), 500)",
            told,
        )
        camera.take(phone, f"made-up-{name}")


def main(folder: Path) -> None:
    camera = Camera(folder)
    with tempfile.TemporaryDirectory() as place, chromium() as browser:
        rig = LiveRig(Path(place), clog_s=500, tank_gal=50)
        try:
            rig.start(pace=20)
            spraying(camera, rig, Phone(browser))
            made_up(camera, rig, Phone(browser))
            phone = Phone(browser)
            for name, path in AFTERWARDS.items():
                phone.page.goto(rig.address + path)
                phone.page.wait_for_timeout(500)
                camera.take(phone, name, whole=True)
            rig.stop("server")
            rig.start_server("0.0.0.0")
            phone.page.goto(rig.address)
            camera.take(phone, "code")
        finally:
            rig.end()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("python tests/web/browser/screenshots.py FOLDER")
    main(Path(sys.argv[1]))
