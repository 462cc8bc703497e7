"""The browser and the simulated rig that the tests of the pages share."""

from __future__ import annotations

import os

import pytest
from support.live_rig import LiveRig
from support.phone import Phone, chromium


@pytest.fixture(scope="session")
def browser():
    """A real Chromium; without it the tests are skipped visibly, under CI they fail."""
    started = chromium()
    try:
        running = started.__enter__()
    except (LookupError, ImportError) as error:
        if os.environ.get("CI"):
            pytest.fail(f"{error}, and CI must not skip")
        pytest.skip(str(error))
    yield running
    started.__exit__(None, None, None)


@pytest.fixture
def open_phone(browser):
    """`open_phone(size, scheme)` gives a `Phone`; at the end none may have complained."""
    phones = []

    def begin(*args, **settings):
        phone = Phone(browser, *args, **settings)
        phones.append(phone)
        return phone

    yield begin
    complaints = [complaint for phone in phones for complaint in phone.complaints]
    for phone in phones:
        phone.close()
    assert complaints == []


@pytest.fixture
def rig(tmp_path):
    """A rig that is not started yet."""
    made = LiveRig(tmp_path)
    yield made
    made.end()
