"""Progress is told to who waits at a terminal longer than a second, and to nobody else."""

from __future__ import annotations

import io
from types import SimpleNamespace

import pytest

from flowlog.review.files import Counted
from flowlog.review.progress import at_terminal


class _Screen(io.StringIO):
    looked_at = True

    def isatty(self) -> bool:
        return self.looked_at


@pytest.fixture
def screen(monkeypatch):
    made = _Screen()
    # Its own standard error is put back by the test runner before the test itself.
    monkeypatch.setattr("flowlog.review.progress.sys", SimpleNamespace(stderr=made))
    return made


@pytest.fixture
def clock(monkeypatch):
    now = [100.0]
    monkeypatch.setattr("time.monotonic", lambda: now[0])
    return now


def test_it_says_nothing_in_the_first_second(screen, clock):
    tell = at_terminal("deriving anew")
    clock[0] += 0.9
    tell(0.5)
    tell(1.0)
    assert screen.getvalue() == ""


def test_later_it_says_how_far_it_is_and_takes_that_away_at_the_end(screen, clock):
    tell = at_terminal("deriving anew")
    clock[0] += 1.5
    tell(0.25)
    tell(0.26)  # not more often than a person can read
    clock[0] += 0.2
    tell(0.5)
    tell(1.0)
    assert screen.getvalue() == "\rderiving anew:  25 %\rderiving anew:  50 %\r\x1b[K"


def test_into_a_file_nothing_is_said(screen, clock):
    screen.looked_at = False
    tell = at_terminal("deriving anew")
    clock[0] += 9
    tell(0.5)
    assert screen.getvalue() == ""


def test_lines_are_counted_as_they_are_written():
    out, told = io.StringIO(), []
    counted = Counted(out, told.append)
    counted.write("a\nb")
    counted.write("c\n\n")
    assert told == [1, 3]
    assert out.getvalue() == "a\nbc\n\n"
