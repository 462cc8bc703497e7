"""The service manager's datagrams, against a real socket."""

from __future__ import annotations

import os
import socket

import pytest

from flowlog.daemon.notify import Notifier


@pytest.fixture(params=["path", "abstract"])
def manager(request, tmp_path):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        name = str(tmp_path / "notify")
        if request.param == "abstract":
            name = f"@flowlog-test-{os.getpid()}"
        listener.bind("\0" + name[1:] if name[0] == "@" else name)
        listener.settimeout(2)
        yield name, listener


def test_states_go_out_in_one_datagram(manager):
    name, listener = manager
    assert Notifier({"NOTIFY_SOCKET": name}).send("READY=1", "STATUS=Samples arrive.")
    assert listener.recv(4096) == b"READY=1\nSTATUS=Samples arrive."


def test_without_a_manager_nothing_happens():
    assert Notifier({}).send("READY=1") is False


def test_a_manager_that_went_away_is_no_fault(tmp_path):
    assert Notifier({"NOTIFY_SOCKET": str(tmp_path / "gone")}).send("WATCHDOG=1") is False


def test_a_manager_that_does_not_listen_does_not_block(tmp_path):
    name = str(tmp_path / "full")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(name)
        notifier = Notifier({"NOTIFY_SOCKET": name})
        taken = 0
        while notifier.send("WATCHDOG=1"):
            taken += 1
            assert taken < 100_000
        assert taken > 0


@pytest.mark.parametrize(
    ("environ", "period"),
    [
        ({}, None),
        ({"WATCHDOG_USEC": "60000000"}, 60.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": str(os.getpid())}, 60.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
    ],
)
def test_the_watchdogs_period_comes_from_the_manager(environ, period):
    assert Notifier(environ).watchdog_s == period
