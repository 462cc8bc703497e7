"""Outbox rows over killed brokers and killed daemons: none lost, order of first arrival kept."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

import flowlog
from flowlog.publish.window import SETTLE_S

pytestmark = pytest.mark.broker

TOPIC = "flowlog/1/cart/alert"
CHILD = """
import importlib.util, sys, time
spec = importlib.util.spec_from_file_location("publish_conftest", sys.argv[1])
support = sys.modules["publish_conftest"] = importlib.util.module_from_spec(spec)
spec.loader.exec_module(support)
from flowlog.publish.publisher import Publisher
from flowlog.rig.model import Broker
outbox = support.Outbox(sys.argv[3])
broker = Broker("127.0.0.1", int(sys.argv[2]))
publisher = Publisher(broker, "cart", delays_s=(0.05, 0.2), settle_s=0.2)
publisher.start()
while True:
    outbox.exchange(publisher)
    time.sleep(0.005)
"""


def first_arrivals(listener):
    return list(dict.fromkeys(payload["id"] for payload in listener.payloads("alert")))


def check_repeats(listener):
    """What comes again is the same message: same id, same number."""
    numbers = {}
    for payload in listener.payloads("alert"):
        assert numbers.setdefault(payload["id"], payload["number"]) == payload["number"]
    firsts = [numbers[uid] for uid in first_arrivals(listener)]
    assert firsts == sorted(firsts)


def test_rows_arrive_in_order_with_their_number(start_broker, listen, publish_to, outbox):
    broker = start_broker()
    listener = listen(broker)
    publisher = publish_to(broker)
    for number in range(200):
        outbox.add(TOPIC, f"a{number}")
    outbox.drain(publisher)
    listener.wait(lambda: len(listener.payloads("alert")) >= 200)
    assert [p["id"] for p in listener.payloads("alert")] == [f"a{n}" for n in range(200)]
    assert [p["number"] for p in listener.payloads("alert")] == list(range(1, 201))


def test_what_could_not_be_stored_is_told_without_a_number(start_broker, listen, publish_to):
    broker = start_broker()
    listener = listen(broker)
    row = SimpleNamespace(id=-1, topic=TOPIC, payload=b'{"id":"full"}', retain=False)
    publish_to(broker).offer([row])
    listener.wait(lambda: listener.payloads("alert") == [{"number": None, "id": "full"}])


def test_a_broker_killed_while_publishing_loses_no_alert(
    start_broker, listen, publish_to, outbox, until
):
    """Mosquitto acknowledges before it saves, so this fails without the wait for `settle_s`."""
    broker = start_broker()
    listener = listen(broker, "flowlog/#")
    until(lambda: broker.has_saved("flowlog/#"))
    publisher = publish_to(broker, settle_s=SETTLE_S)
    for number in range(600):
        outbox.add(TOPIC, f"a{number}")
        if number % 5 == 0:
            outbox.exchange(publisher)
            time.sleep(0.004)
        if number in (150, 350):
            broker.kill()
        if number in (250, 450):
            broker.start()
    outbox.drain(publisher)
    listener.wait(lambda: len(first_arrivals(listener)) >= 600)
    assert first_arrivals(listener) == [f"a{number}" for number in range(600)]
    check_repeats(listener)


def test_a_daemon_killed_again_and_again_publishes_what_it_left(
    start_broker, listen, publish_to, outbox_in, tmp_path
):
    broker = start_broker()
    listener = listen(broker)
    outbox = outbox_in(tmp_path / "outbox.db")
    for number in range(300):
        outbox.add(TOPIC, f"a{number}")
    conftest = Path(__file__).parent / "conftest.py"
    root = str(Path(flowlog.__file__).parents[1])
    for round_ in range(3):
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(conftest), str(broker.port), outbox.path],
            env={**os.environ, "PYTHONPATH": root},
        )
        try:
            listener.wait(lambda: len(first_arrivals(listener)) > 60 * round_)  # noqa: B023
        finally:
            child.send_signal(signal.SIGKILL)
            child.wait(10)
    outbox.drain(publish_to(broker))
    listener.wait(lambda: len(first_arrivals(listener)) >= 300)
    assert first_arrivals(listener) == [f"a{number}" for number in range(300)]
    check_repeats(listener)


def test_what_waits_while_the_broker_is_away_is_bounded_and_sent_when_it_is_back(
    start_broker, listen, publish_to, outbox, until
):
    broker = start_broker()
    listener = listen(broker, "flowlog/#")
    until(lambda: broker.has_saved("flowlog/#"))
    broker.kill()
    publisher = publish_to(broker)
    for number in range(1500):
        outbox.add(TOPIC, f"a{number}")
    assert publisher.offer(outbox.rows(limit=1500)) == 1000
    until(lambda: publisher.state().word == "away")
    assert publisher.state().held == 1000
    broker.start()
    outbox.drain(publisher)
    listener.wait(lambda: len(first_arrivals(listener)) >= 1500)
    assert first_arrivals(listener) == [f"a{number}" for number in range(1500)]


def test_stopping_sends_what_was_offered_and_tells_what_was_acknowledged(
    start_broker, listen, publish_to, outbox, until
):
    broker = start_broker()
    listener = listen(broker)
    publisher = publish_to(broker)
    until(lambda: publisher.state().connected)
    for number in range(150):
        outbox.add(TOPIC, f"a{number}")
    publisher.offer(outbox.rows(limit=150))
    publisher.stop(5.0)
    assert publisher.take_acknowledged() == list(range(1, 151))
    listener.wait(lambda: len(listener.payloads("alert")) == 150)


def test_a_row_that_is_too_large_for_the_broker_is_given_up_and_the_rest_goes_on(
    start_broker, listen, publish_to, outbox
):
    broker = start_broker(extra="max_packet_size 1000")
    listener = listen(broker)
    publisher = publish_to(broker)
    outbox.add(TOPIC, "first")
    outbox.add(TOPIC, "x" * 2000)
    outbox.add("a/+/b", "no topic")
    outbox.add(TOPIC, "last")
    outbox.drain(publisher)
    listener.wait(lambda: first_arrivals(listener) == ["first", "last"])
    assert [each.id for each in outbox.refused] == [2, 3]
    assert "too large" in outbox.refused[0].sentence
    assert "'a/+/b'" in outbox.refused[1].sentence
