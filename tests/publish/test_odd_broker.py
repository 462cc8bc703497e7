"""Brokers that behave as no Mosquitto does, played by a few bytes over a socket."""

from __future__ import annotations

import contextlib
import socket
import threading

import pytest

from flowlog.publish import worker

CONNACK = b"\x20\x03\x00\x00\x00"
CONNACK_TWO_UNANSWERED = (
    b"\x20\x06\x00\x00\x03\x21\x00\x02"  # Receive Maximum 2 (MQTT 5.0, 3.2.2.3)
)
DISCONNECT_PACKET_TOO_LARGE = b"\xe0\x02\x95\x00"


@pytest.fixture
def play():
    """`play(connack, goodbye=b"")`: greets, answers nothing; with a goodbye ends the line with it
    when the first outbox row comes. Gives the port and a list with one entry a connection."""
    servers = []

    def begin(connack, goodbye=b""):
        server = socket.create_server(("127.0.0.1", 0))
        servers.append(server)
        lines = []

        def serve():
            while True:
                try:
                    line, _ = server.accept()
                except OSError:
                    return
                lines.append(line)
                with contextlib.suppress(OSError):
                    line.recv(4096)
                    line.sendall(connack)
                    while heard := line.recv(65536):
                        if goodbye and b"/alert" in heard:
                            line.sendall(goodbye)
                            break
                line.close()

        threading.Thread(target=serve, daemon=True).start()
        return server.getsockname()[1], lines

    yield begin
    for server in servers:
        with contextlib.suppress(OSError):
            server.shutdown(socket.SHUT_RDWR)
        server.close()


def fill(outbox, count):
    for number in range(count):
        outbox.add("flowlog/1/cart/alert", f"a{number}")


def test_no_more_is_unanswered_than_the_broker_allows(play, publish_to, outbox, until):
    """Of the two messages that it allows, one is the status."""
    port, _ = play(CONNACK_TWO_UNANSWERED)
    publisher = publish_to(None, port=port)
    fill(outbox, 10)
    outbox.exchange(publisher)
    until(lambda: publisher.state().on_the_way)
    assert publisher.state().on_the_way == 1
    assert publisher.state().held == 10


def test_at_most_fifty_rows_are_on_the_way(play, publish_to, outbox, until):
    port, _ = play(CONNACK)
    publisher = publish_to(None, port=port)
    fill(outbox, 120)
    outbox.exchange(publisher)
    until(lambda: publisher.state().on_the_way >= 50)
    assert publisher.state().on_the_way == 50


def test_a_broker_that_leaves_rows_unanswered_is_left_and_met_anew(
    play, publish_to, outbox, until, monkeypatch
):
    monkeypatch.setattr(worker, "ANSWER_LIMIT_S", 0.2)
    port, lines = play(CONNACK)
    publisher = publish_to(None, port=port)
    fill(outbox, 1)
    outbox.exchange(publisher)
    until(lambda: "unanswered" in publisher.state().sentence)
    until(lambda: len(lines) > 1)
    assert publisher.state().held == 1


def test_a_row_that_makes_the_broker_end_the_line_is_given_up(play, publish_to, outbox, until):
    """Else it would be sent first after each reconnection, and nothing behind it ever."""
    port, _ = play(CONNACK, goodbye=DISCONNECT_PACKET_TOO_LARGE)
    publisher = publish_to(None, port=port, refusal_delays_s=())
    fill(outbox, 1)
    outbox.drain(publisher)
    [refused] = outbox.refused
    assert refused.id == 1
    assert "packet too large" in refused.sentence
