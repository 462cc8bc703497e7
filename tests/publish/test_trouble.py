"""Refused: wrong credentials, forbidden topics, odd servers. Secrets are never shown."""

from __future__ import annotations

import logging
import socket
import threading
import traceback

import pytest

from flowlog.publish.connection import new_connection
from flowlog.publish.publisher import NullPublisher, Publisher, make_publisher
from flowlog.publish.trouble import NoConnectionError
from flowlog.rig.model import Broker

SECRET = "s3cret-word"
ACL = """
user rig
topic write flowlog/1/cart/status
topic write flowlog/1/cart/route
user reader
topic read #
"""
USERS = {"rig": SECRET, "reader": "read"}


@pytest.mark.broker
@pytest.mark.parametrize("word", ["wrong", None])
def test_a_wrong_password_is_said_in_one_sentence_and_tried_again_only_slowly(
    start_broker, publish_to, until, word
):
    broker = start_broker(users=USERS, extra="log_type all")
    publisher = publish_to(broker, user="rig", password=word, refused_delay_s=60)
    until(lambda: publisher.state().word == "refused")
    sentence = publisher.state().sentence
    assert sentence == (
        f"broker 127.0.0.1:{broker.port}: it refuses this user or password"
        " (check broker.user and broker.password)"
    )
    log = broker.folder / "mosquitto.log"
    tries = log.read_text().count("disconnected, not authorised")
    assert tries == 1
    with pytest.raises(AssertionError, match="in vain"):
        until(lambda: log.read_text().count("disconnected, not authorised") > 1, patience_s=1.0)


@pytest.mark.broker
def test_no_user_where_one_is_needed_is_said_so(start_broker, publish_to, until):
    publisher = publish_to(start_broker(users=USERS))
    until(lambda: publisher.state().word == "refused")
    assert "(no user is set)" in publisher.state().sentence


@pytest.mark.broker
def test_credentials_that_become_right_are_noticed_at_the_next_slow_try(
    start_broker, publish_to, until, tmp_path
):
    broker = start_broker(users={"rig": "old", "reader": "read"})
    publisher = publish_to(broker, user="rig", password=SECRET, refused_delay_s=0.2)
    until(lambda: publisher.state().word == "refused")
    broker.kill()
    (broker.folder / "passwords").unlink()
    broker.users["rig"] = SECRET
    broker.start()
    until(lambda: publisher.state().word == "connected")


@pytest.mark.broker
def test_a_forbidden_topic_is_told_given_up_and_does_not_hold_up_the_others(
    start_broker, listen, publish_to, outbox, until
):
    broker = start_broker(users=USERS, acl=ACL)
    listener = listen(broker, "flowlog/#", user="reader")
    publisher = publish_to(broker, user="rig", password=SECRET, refusal_delays_s=(0.1, 0.5))
    outbox.add("flowlog/1/cart/alert", "a1")
    outbox.add("flowlog/1/cart/route", "r1")
    outbox.exchange(publisher)
    listener.wait(lambda: listener.payloads("route"))
    until(lambda: publisher.state().word == "not allowed")
    assert "'flowlog/1/cart/alert'" in publisher.state().sentence
    assert publisher.state().connected
    outbox.drain(publisher)
    assert [(each.id, each.topic) for each in outbox.refused] == [(1, "flowlog/1/cart/alert")]
    assert listener.payloads("alert") == []


@pytest.mark.broker
def test_a_topic_that_becomes_allowed_gets_the_row_that_was_refused(
    start_broker, listen, publish_to, outbox, until
):
    broker = start_broker(users=USERS, acl=ACL)
    listener = listen(broker, "flowlog/#", user="reader")
    publisher = publish_to(broker, user="rig", password=SECRET, refusal_delays_s=[0.2] * 50)
    outbox.add("flowlog/1/cart/alert", "a1")
    outbox.exchange(publisher)
    until(lambda: publisher.state().word == "not allowed")
    broker.allow("user rig\ntopic write flowlog/#\nuser reader\ntopic read #\n")
    outbox.drain(publisher)
    listener.wait(lambda: listener.payloads("alert"))
    assert outbox.refused == []
    assert publisher.state().word == "connected"


@pytest.mark.broker
def test_the_password_is_in_no_repr_no_log_and_no_state(
    start_broker, publish_to, until, caplog, capfd
):
    caplog.set_level(logging.DEBUG)
    broker = start_broker(users=USERS, acl=ACL)
    right = publish_to(broker, user="rig", password=SECRET)
    wrong = publish_to(broker, rig="other", user="rig", password=SECRET + "x")
    away = publish_to(broker, rig="third", user="rig", password=SECRET, port=1)
    until(lambda: right.state().connected)
    until(lambda: wrong.state().word == "refused" and away.state().word == "away")
    broker.kill()
    until(lambda: right.state().word == "away")
    shown = [repr(each) + repr(each.state()) for each in (right, wrong, away)]
    for each in (right, wrong, away):
        each.stop()
    out, err = capfd.readouterr()
    assert caplog.records
    assert SECRET not in "".join([*shown, caplog.text, out, err])


@pytest.mark.parametrize(
    "password", [SECRET + "\udc80", SECRET + "x" * 70_000], ids=["no text", "too long"]
)
def test_a_password_that_cannot_be_sent_is_refused_without_being_shown(password, until):
    broker = Broker("127.0.0.1", 1, user="rig", password=password)
    publisher = Publisher(broker, "cart")
    publisher.start()
    until(lambda: publisher.state().word == "refused")
    publisher.stop()
    assert SECRET not in publisher.state().sentence
    with pytest.raises(NoConnectionError) as caught:
        new_connection(broker, "cart", "t", b"")
    assert SECRET not in "".join(traceback.format_exception(caught.value))


def test_a_host_without_a_broker_is_away(publish_to, until):
    publisher = publish_to(None, port=1)
    until(lambda: publisher.state().word == "away")
    assert publisher.state().sentence == "broker 127.0.0.1:1: nothing listens there"


@pytest.mark.parametrize(
    "host",
    ["", "no-such-host.invalid", "a" * 70 + ".invalid", "a\udc80"],
    ids=["empty", "unknown", "too long", "no text"],
)
def test_a_host_that_does_not_exist_ends_in_a_state_not_in_an_error(publish_to, until, host):
    publisher = publish_to(None, host=host, port=1883)
    until(lambda: publisher.state().word in {"away", "refused"})
    assert "unforeseen" not in publisher.state().sentence
    publisher.state().sentence.encode()


def test_a_topic_prefix_that_cannot_be_used_is_a_state(publish_to, until):
    publisher = publish_to(None, port=1, topic="a/#")
    assert publisher.state().word == "refused"
    assert "broker.topic" in publisher.state().sentence


@pytest.mark.parametrize(
    ("says", "hint"),
    [(b"", "closed the line"), (b"SSH-2.0-hello\r\n", "")],
)
def test_a_server_that_is_no_broker_is_away(publish_to, until, says, hint):
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve():
            while True:
                try:
                    line, _ = server.accept()
                except OSError:
                    return
                with line:
                    line.recv(4096)
                    line.sendall(says)

        threading.Thread(target=serve, daemon=True).start()
        publisher = publish_to(None, port=server.getsockname()[1])
        until(lambda: publisher.state().word == "away")
        assert hint in publisher.state().sentence
        publisher.stop()
        server.shutdown(socket.SHUT_RDWR)


def test_the_caller_never_waits_for_a_server_that_does_not_answer(publish_to, outbox):
    """The server accepts and stays silent; every call still comes back, and so does `stop`."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        publisher = publish_to(None, port=server.getsockname()[1])
        outbox.add("flowlog/1/cart/alert", "a1")
        for _ in range(1000):
            outbox.exchange(publisher)
            publisher.publish_reading({"n": 1})
            publisher.set_status({"n": 1})
        assert publisher.state().held == 1
        publisher.stop(2.0)
    assert publisher.state().word == "stopped"


def test_without_a_broker_everything_is_taken_and_nothing_kept(outbox):
    publisher = make_publisher(None, "cart")
    assert isinstance(publisher, NullPublisher)
    assert not publisher.enabled
    publisher.start()
    outbox.add("t", "a1")
    publisher.publish_reading({})
    publisher.set_status({})
    assert publisher.offer(outbox.rows()) == 0
    assert publisher.take_acknowledged() == []
    assert publisher.take_refused() == []
    assert publisher.state().word == "none"
    publisher.stop()


def test_with_a_broker_there_is_a_publisher_of_the_same_shape():
    publisher = make_publisher(Broker("127.0.0.1"), "cart")
    assert publisher.enabled
    assert publisher.state().word == "stopped"
    for name in dir(NullPublisher):
        assert hasattr(publisher, name)
