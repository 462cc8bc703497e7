"""The retained status: birth, changes, goodbye, and the will of one that was killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

import flowlog
from flowlog.publish import messages

pytestmark = pytest.mark.broker

CHILD = """
import sys, time
from flowlog.publish.publisher import Publisher
from flowlog.rig.model import Broker
publisher = Publisher(Broker("127.0.0.1", int(sys.argv[1])), "cart")
publisher.start()
time.sleep(60)
"""


def test_the_status_is_retained_and_reaches_who_comes_late(start_broker, listen, publish_to, until):
    broker = start_broker()
    publisher = publish_to(broker)
    until(lambda: publisher.state().word == "connected")
    status = messages.status(rig="cart", version="0.1.0", phase="spraying", board="connected")
    publisher.set_status(status)
    live = listen(broker, name="early")
    live.wait(lambda: live.payloads("status")[-1:] == [status])
    late = listen(broker, name="late")
    late.wait(lambda: late.heard)
    assert late.heard == [("flowlog/1/cart/status", status, True)]


def test_stopping_leaves_a_goodbye_that_fits_the_schema(start_broker, listen, publish_to, until):
    broker = start_broker()
    publisher = publish_to(broker)
    until(lambda: publisher.state().connected)
    publisher.stop(wall_us=1_750_000_000_000_000, clock="synced")
    assert publisher.state().word == "stopped"
    late = listen(broker)
    late.wait(lambda: late.heard)
    [(_, status, retained)] = late.heard
    assert retained
    jsonschema.validate(status, messages.schema("status"))
    assert (status["online"], status["why"]) == (False, "stopped")
    assert status["time"] == "2025-06-15T15:06:40.000Z"


def test_a_killed_daemon_is_reported_offline_by_the_broker(start_broker, listen):
    broker = start_broker()
    listener = listen(broker)
    root = str(Path(flowlog.__file__).parents[1])
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(broker.port)], env={**os.environ, "PYTHONPATH": root}
    )
    try:
        listener.wait(lambda: [s for s in listener.payloads("status") if s["online"]])
    finally:
        child.send_signal(signal.SIGKILL)
        child.wait(10)
    listener.wait(lambda: not listener.payloads("status")[-1]["online"])
    status = listener.payloads("status")[-1]
    jsonschema.validate(status, messages.schema("status"))
    assert status["why"] == "connection lost"


def test_after_an_outage_the_status_is_written_anew(start_broker, listen, publish_to, until):
    broker = start_broker(extra="")
    publisher = publish_to(broker)
    until(lambda: publisher.state().connected)
    broker.kill()
    until(lambda: publisher.state().word == "away")
    changed = messages.status(rig="cart", version="0.1.0", faults=["the disk is full"])
    publisher.set_status(changed)
    broker.start()
    until(lambda: publisher.state().connected)
    listener = listen(broker)
    listener.wait(lambda: listener.payloads("status")[-1:] == [changed])


def test_two_daemons_of_one_name_are_told_so_and_the_status_stays_online(
    start_broker, listen, publish_to, until
):
    """A new connection of the same rig ends the old one before it writes its own status."""
    broker = start_broker()
    both = [publish_to(broker, refused_delay_s=60) for _ in range(2)]
    until(lambda: [p for p in both if "another flowlog" in p.state().sentence])
    until(lambda: [p for p in both if p.state().connected])
    listener = listen(broker)
    listener.wait(lambda: listener.heard and listener.payloads("status")[-1]["online"])


def test_readings_are_sent_while_connected_and_dropped_and_counted_while_not(
    start_broker, listen, publish_to, until
):
    broker = start_broker()
    listener = listen(broker)
    publisher = publish_to(broker)
    publisher_before = publish_to(broker, rig="nowhere", port=1)
    for number in range(10):
        publisher_before.publish_reading({"n": number})
    assert publisher_before.state().readings_dropped == 10
    until(lambda: publisher.state().connected)
    publisher.publish_reading({"n": 1})
    listener.wait(lambda: listener.payloads("reading") == [{"n": 1}])
    assert publisher.state().readings_dropped == 0


def test_a_message_that_is_no_json_is_not_sent_and_does_not_raise(
    start_broker, listen, publish_to, until
):
    broker = start_broker()
    listener = listen(broker)
    publisher = publish_to(broker)
    until(lambda: publisher.state().connected)
    publisher.publish_reading({"n": float("nan")})
    publisher.set_status({"n": object()})
    publisher.publish_reading({"n": 2})
    listener.wait(lambda: listener.payloads("reading"))
    assert listener.payloads("reading") == [{"n": 2}]
    assert publisher.state().connected
