"""The log is for a person and quiet."""

from __future__ import annotations

import logging
import os
import sys

import pytest

from flowlog.daemon.logs import BURSTS, REPEATS, set_up

log = logging.getLogger("flowlog.test")


@pytest.fixture(autouse=True)
def _put_back():
    top = logging.getLogger("flowlog")
    kept = (list(top.handlers), top.propagate, top.level)
    yield
    top.handlers[:], top.propagate = kept[0], kept[1]
    top.setLevel(kept[2])


def test_a_person_sees_the_time_of_day_and_no_priorities(capsys):
    set_up(False, {})
    log.warning("The port is gone.")
    line = capsys.readouterr().err
    assert line.endswith(" The port is gone.\n")
    assert line[2] == line[5] == ":"


def test_under_the_service_manager_each_line_has_a_priority_and_no_time(capsys):
    set_up(False, {"NOTIFY_SOCKET": "/run/x"})
    log.error("one")
    log.warning("two")
    log.info("three\nfour")
    assert capsys.readouterr().err == "<3>one\n<4>two\n<6>three\n<6>four\n"


def test_a_journal_stream_inherited_from_a_desktop_does_not_count(monkeypatch, tmp_path):
    with (tmp_path / "err").open("w+") as stream:
        monkeypatch.setattr(sys, "stderr", stream)
        set_up(False, {"JOURNAL_STREAM": "1:2"})
        log.warning("plain")
        status = os.fstat(stream.fileno())
        set_up(False, {"JOURNAL_STREAM": f"{status.st_dev}:{status.st_ino}"})
        log.warning("prioritised")
        stream.flush()
        lines = (tmp_path / "err").read_text().splitlines()
    assert not lines[0].startswith("<")
    assert lines[1] == "<4>prioritised"


def test_details_come_only_when_asked_for(capsys):
    set_up(False, {})
    log.debug("detail")
    assert capsys.readouterr().err == ""
    set_up(True, {})
    log.debug("detail")
    assert "detail" in capsys.readouterr().err


def test_a_line_that_repeats_is_written_once(capsys):
    set_up(False, {})
    for number in range(1000):
        log.warning("fault %d", number, extra=REPEATS)
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_a_few_happenings_of_one_kind_are_each_written_and_a_flood_of_them_is_not(
    capsys, monkeypatch
):
    set_up(False, {})
    for number in range(100):
        log.info("Board restarted: %d", number, extra=BURSTS)
    lines = capsys.readouterr().err.splitlines()
    assert [line.split()[-1] for line in lines] == ["0", "1", "2", "3", "4"]
    log.info("Clock was set: %d", 7, extra=BURSTS)
    assert "Clock was set: 7" in capsys.readouterr().err, "another kind"
    handler = logging.getLogger("flowlog").handlers[0]
    (held,) = handler.filters
    for number in range(2):
        record = log.makeRecord(
            log.name, logging.INFO, "", 0, "Board restarted: %d", (number,), None
        )
        record.most = 5
        record.relativeCreated += 601_000 + number
        assert held.filter(record)
        assert ("95 more like this since" in record.getMessage()) == (number == 0)
