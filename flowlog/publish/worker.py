"""The publisher's own thread: connect, send what is due, take answers, come back after a loss."""

from __future__ import annotations

import logging
import math
import random
import threading
import time
from typing import Final

from paho.mqtt.reasoncodes import ReasonCode

from flowlog.publish import messages
from flowlog.publish.connection import Connection, new_connection
from flowlog.publish.handover import Handover
from flowlog.publish.pace import Pace
from flowlog.publish.topics import Topics
from flowlog.publish.trouble import (
    NoConnectionError,
    blames_message,
    denied,
    lost_connection,
    place,
    unanswered,
)
from flowlog.rig.model import Broker

log = logging.getLogger("flowlog.publish")

TURN_S: Final = 0.1
"""How long what is handed over may lie before it is sent."""
ANSWER_LIMIT_S: Final = 60.0
"""A broker that is connected and leaves a row unanswered for this long is left and met anew."""


class Worker:
    """Runs `run` in a thread. Everything here but `leave_by` belongs to that thread."""

    def __init__(
        self,
        handover: Handover,
        broker: Broker,
        topics: Topics,
        client_id: str,
        will: bytes,
        delays_s: tuple[float, float],
        refused_delay_s: float,
    ) -> None:
        self._handover = handover
        self._broker = broker
        self._topics = topics
        self._client_id = client_id
        self._will = will
        self._delays_s = delays_s
        self._refused_delay_s = refused_delay_s
        self._leaving = threading.Event()
        self._leave_by_s = 0.0
        self._goodbye = b""
        self._status_tokens: set[int] = set()
        self._connected_s: float | None = None

    def leave_by(self, moment_s: float, goodbye: bytes) -> None:
        """Ask the thread to send what it can until `moment_s`, say `goodbye`, and end."""
        self._goodbye = goodbye
        self._leave_by_s = moment_s
        self._leaving.set()

    def run(self) -> None:
        pace = Pace(*self._delays_s, self._refused_delay_s)
        while not self._leaving.is_set():
            self._connected_s = None
            refused = False
            try:
                self._connect_and_serve()
            except NoConnectionError as trouble:
                sentence, refused = trouble.sentence, trouble.kind == "refused"
            except Exception as error:  # noqa: BLE001 - publishing must outlive any surprise
                # Only the kind of the error: its text could hold what must not be logged.
                sentence = f"{place(self._broker)}: unforeseen {type(error).__name__}"
            if self._leaving.is_set():
                return
            began_s = self._connected_s
            lived_s = None if began_s is None else time.monotonic() - began_s
            pause_s = pace.pause_s(lived_s, refused)
            if pace.flapping:
                sentence += " again and again (is there another flowlog with this rig's name?)"
            self._handover.say("refused" if refused else "away", sentence)
            # Uneven pauses, so that a fleet does not come back all in the same second.
            self._leaving.wait(pause_s * random.uniform(0.8, 1.0))

    def _connect_and_serve(self) -> None:
        connection = new_connection(self._broker, self._client_id, self._topics.status, self._will)
        try:
            if connection.handshake(self._broker, self._answered, self._leaving.is_set):
                self._connected_s = time.monotonic()
                self._handover.say("connected", f"{place(self._broker)}: connected")
                self._serve(connection)
        finally:
            self._clear(connection)

    def _serve(self, connection: Connection) -> None:
        while not self._leaving.is_set():
            self._send_status(connection)
            self._send_readings(connection)
            self._send_rows(connection)
            if not connection.turn(TURN_S):
                raise lost_connection(connection.farewell, self._broker)
            self._handover.settle(time.monotonic())
            sent_s = self._handover.oldest_sent_s()
            if sent_s is not None and time.monotonic() - sent_s > ANSWER_LIMIT_S:
                raise unanswered(self._broker)
        self._leave(connection)

    def _leave(self, connection: Connection) -> None:
        alive = True
        while alive and time.monotonic() < self._leave_by_s:
            self._send_rows(connection)
            if self._handover.idle(time.monotonic()):
                break
            alive = connection.turn(0.02)
        if alive:
            self._handover.settle(math.inf)
            self._publish_status(connection, self._goodbye)
        while alive and self._status_tokens and time.monotonic() < self._leave_by_s + 0.2:
            alive = connection.turn(0.02)

    def _clear(self, connection: Connection) -> None:
        token = self._handover.first_token()
        if blames_message(connection.farewell) and token is not None:
            why = lost_connection(connection.farewell, self._broker)
            self._handover.refuse(token, why.sentence, time.monotonic())
        self._handover.lost(time.monotonic())
        self._status_tokens.clear()
        connection.close()

    def _send_status(self, connection: Connection) -> None:
        status = self._handover.due_status()
        if status is not None:
            self._publish_status(connection, messages.encode(status))

    def _publish_status(self, connection: Connection, encoded: bytes) -> None:
        token = connection.publish(self._topics.status, encoded, qos=1, retain=True)
        if token is not None:
            self._status_tokens.add(token)

    def _send_readings(self, connection: Connection) -> None:
        readings = self._handover.take_readings()
        for sent, encoded in enumerate(readings):
            if connection.congested:
                self._handover.drop_readings(len(readings) - sent)
                return
            connection.publish(self._topics.reading, encoded, qos=0, retain=False)

    def _send_rows(self, connection: Connection) -> None:
        limit = connection.receive_maximum - len(self._status_tokens)
        while row := self._handover.next_row(time.monotonic(), limit):
            payload = messages.stamp(row.payload, row.id if row.id > 0 else None)
            if not connection.fits(row.topic, payload):
                sentence = f"{place(self._broker)}: a message on {row.topic!r} is too large for it"
                self._handover.give_up(row, sentence)
                continue
            try:
                token = connection.publish(row.topic, payload, qos=1, retain=row.retain)
            except ValueError:
                self._handover.give_up(row, f"{row.topic!r} is no topic to publish under")
                continue
            if token is None:
                return
            self._handover.sent(token, row, time.monotonic())

    def _answered(self, token: int, reason: ReasonCode) -> None:
        """Called within `Connection.turn` for each answer to a message at QoS 1."""
        of_status = token in self._status_tokens
        self._status_tokens.discard(token)
        topic = self._topics.status if of_status else self._handover.topic_of(token)
        if topic is None:
            return
        if reason.value >= 128:
            sentence = denied(topic, reason, self._broker)
            self._handover.deny(topic, sentence)
            self._handover.refuse(token, sentence, time.monotonic())
        elif of_status:
            self._handover.allow(topic)
        else:
            self._handover.acknowledge(token, time.monotonic())
