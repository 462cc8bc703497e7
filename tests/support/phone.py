"""A real Chromium, headless, the size of a phone; and a judge of its pages' accessibility."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

PHONE = (390, 844)
DASHBOARD = (800, 480)
LAPTOP = (1280, 800)
SIZES = (PHONE, DASHBOARD, LAPTOP)
SCHEMES = ("light", "dark")

_SWITCHES = [
    "--no-sandbox",  # as root, in a container, it does not start with one
    "--disable-gpu",
    "--disable-dev-shm-usage",  # a container has little of it
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # No name is ever resolved: a page that asks another host fails.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]

_SERIOUS = ("serious", "critical")


def program() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


@contextmanager
def chromium() -> Iterator[Any]:
    """The installed browser, driven by Playwright (which downloads none of its own).

    Raises:
        LookupError: there is none.
    """
    path = program()
    if path is None:
        raise LookupError("chromium is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        # What a desktop session sets makes the start script of the browser complain.
        environment = {name: value for name, value in os.environ.items() if name != "DISPLAY"}
        browser = playwright.chromium.launch(executable_path=path, args=_SWITCHES, env=environment)
        try:
            yield browser
        finally:
            browser.close()


class Phone:
    """One page in a context of its own, with all that went wrong in it.

    Attributes:
        page: Playwright's page.
        complaints: messages of errors in scripts, of the security policy, of failed requests.
        asked: the addresses that were asked for.
    """

    def __init__(
        self,
        browser: Any,
        size: tuple[int, int] = PHONE,
        scheme: str = "light",
        **settings: Any,
    ) -> None:
        self.context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme=scheme,
            has_touch=True,
            **settings,
        )
        self.page = self.context.new_page()
        self.page.set_default_timeout(30_000)  # a busy machine; nothing waits longer than it must
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))

    def _hear(self, message: Any) -> None:
        # A connection that fails while a test stops the server is no fault of the page.
        if message.type == "error" and "ERR_" not in message.text:
            self.complaints.append(message.text)

    def text(self, selector: str) -> str:
        return str(self.page.inner_text(selector))

    def wait_for(self, expression: str, seconds: float) -> None:
        """Wait until a script's expression is true.

        The pages' security policy forbids the eval that Playwright's own wait needs.
        """
        end = time.monotonic() + seconds
        while not self.page.evaluate(expression):
            if time.monotonic() > end:
                raise AssertionError(f"waited {seconds} s for {expression}")
            self.page.wait_for_timeout(50)

    def see_all_alerts(self) -> list[str]:
        """Acknowledge what takes the screen, one alert after the other; gives their titles."""
        titles = []
        for _ in range(8):
            if not self.page.is_visible("#alert"):
                return titles
            titles.append(self.text("#alert-title"))
            # As a person: the button is dead for a moment after an alert came up.
            self.page.wait_for_timeout(750)
            self.page.click("#alert-seen")
            self.page.wait_for_timeout(100)
        raise AssertionError(f"alerts without end: {titles}")

    def overflow(self) -> tuple[int, int]:
        """By how many pixels the page is higher and wider than the screen."""
        found = self.page.evaluate(
            "() => { const e = document.documentElement;"
            " return [e.scrollHeight - innerHeight, e.scrollWidth - innerWidth]; }"
        )
        return int(found[0]), int(found[1])

    def close(self) -> None:
        self.context.close()


def serious_issues(page: Any) -> list[str]:
    """What axe-core holds to be serious or critical, with 7:1 as the contrast that is asked."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page, options={"rules": {"color-contrast-enhanced": {"enabled": True}}})
    return [
        f"{issue['impact']} {issue['id']}: {node['html'][:120]} ({node['failureSummary']})"
        for issue in found.response["violations"]
        if issue["impact"] in _SERIOUS
        for node in issue["nodes"]
    ]


_SMALL = """() => [...document.querySelectorAll('a, button, input, select, textarea, summary')]
  .filter((e) => e.checkVisibility() && !e.disabled && !e.closest('p, li, td > :not(a)'))
  .map((e) => [e, e.getBoundingClientRect()])
  .filter(([, r]) => r.width > 0 && (r.width < 47.5 || r.height < 47.5))
  .map(([e, r]) => `${e.outerHTML.slice(0, 90)} ${r.width}x${r.height}`)"""


def small_targets(page: Any) -> list[str]:
    """What can be pressed and is smaller than 48 px; links within sentences are left out."""
    return [str(found) for found in page.evaluate(_SMALL)]
