"""One connection to the broker, from the handshake to its loss. Runs in the publisher's thread.

A new paho client for every connection: nothing that an earlier one had queued can come back
late or out of order. The loop is driven from here instead of paho's own thread, because then
publishing, answers and losses happen in one thread, one after the other, and because an error
in the handshake comes back as an exception that can be put into words.
"""

from __future__ import annotations

import contextlib
import ssl
import time
from collections.abc import Callable
from typing import Any, Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from flowlog.publish.trouble import (
    NoConnectionError,
    closed_without_answer,
    network_trouble,
    refused_connection,
    silent_broker,
)
from flowlog.rig.model import Broker

KEEPALIVE_S: Final = 20
"""A dead connection is noticed after at most twice this; readings go out once a second anyway,
so that keeping alive costs nothing."""
CONNECT_PATIENCE_S: Final = 5.0
ANSWER_PATIENCE_S: Final = 10.0
"""From the open socket to the broker's answer."""
MANY: Final = 1 << 16

Answer = Callable[[int, ReasonCode], None]


class Connection:
    """One connection, made by `new_connection`; every method belongs to one thread."""

    def __init__(self, client: mqtt.Client) -> None:
        self._client = client
        self._answer: ReasonCode | None = None
        self._farewell: ReasonCode | None = None
        self._receive_maximum = MANY
        self._largest_packet: int | None = None
        self._on_answer: Answer | None = None
        client.on_connect = self._connected
        client.on_disconnect = self._disconnected
        client.on_publish = self._published

    @property
    def receive_maximum(self) -> int:
        """How many QoS 1 messages the broker lets be unanswered at once."""
        return self._receive_maximum

    @property
    def farewell(self) -> ReasonCode | None:
        """Why the broker closed the connection, if it said so."""
        return self._farewell

    @property
    def congested(self) -> bool:
        """Whether earlier bytes still wait for the network."""
        return self._client.want_write()

    def fits(self, topic: str, payload: bytes) -> bool:
        """Whether the broker takes a message of this size."""
        overhead = 64  # fixed header, lengths, id and properties, generously
        size = len(payload) + len(topic.encode()) + overhead
        return self._largest_packet is None or size <= self._largest_packet

    def handshake(self, broker: Broker, answer: Answer, until: Callable[[], bool]) -> bool:
        """Connect and wait for the broker's answer. False if `until` ended the wait.

        Raises `NoConnectionError` with a sentence for every way in which this fails.
        """
        self._on_answer = answer
        try:
            self._client.connect(broker.host, broker.port, KEEPALIVE_S, clean_start=True)
        except (OSError, ValueError) as error:
            raise network_trouble(error, broker) from None
        deadline = time.monotonic() + ANSWER_PATIENCE_S
        while self._answer is None:
            if until():
                return False
            if not self.turn(0.1) and self._answer is None:
                raise closed_without_answer(broker)
            if time.monotonic() > deadline:
                raise silent_broker(broker)
        if self._answer.value >= 128:
            raise refused_connection(self._answer, broker)
        return True

    def turn(self, patience_s: float) -> bool:
        """Move bytes both ways, wait at most `patience_s` for some. False if the line is gone."""
        return self._client.loop(patience_s) == MQTTErrorCode.MQTT_ERR_SUCCESS

    def publish(self, topic: str, payload: bytes, qos: int, retain: bool) -> int | None:
        """Send a message; the token that its answer will name, or None if it was not sent.

        Raises ValueError for a topic that MQTT does not allow.
        """
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        properties.PayloadFormatIndicator = 1
        properties.ContentType = "application/json"
        info = self._client.publish(topic, payload, qos, retain, properties)
        return info.mid if info.rc == MQTTErrorCode.MQTT_ERR_SUCCESS else None

    def close(self) -> None:
        """Say goodbye, so that the broker drops the will, and let go of the socket."""
        with contextlib.suppress(OSError, ValueError):  # the line may be gone already
            if self._client.disconnect() == MQTTErrorCode.MQTT_ERR_SUCCESS:
                for _ in range(5):
                    if not self.turn(0.05):
                        break

    def _connected(
        self,
        _client: Any,
        _data: Any,
        _flags: Any,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        self._answer = reason
        self._receive_maximum = getattr(properties, "ReceiveMaximum", MANY)
        self._largest_packet = getattr(properties, "MaximumPacketSize", None)

    def _disconnected(
        self, _client: Any, _data: Any, flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            self._farewell = reason

    def _published(
        self, _client: Any, _data: Any, token: int, reason: ReasonCode, _properties: Any
    ) -> None:
        if self._on_answer is not None:
            self._on_answer(token, reason)


def new_connection(
    broker: Broker, client_id: str, will_topic: str, will_payload: bytes
) -> Connection:
    """Prepare a connection; nothing goes over the network yet.

    Raises `NoConnectionError` if the certificates or the credentials cannot be used.
    """
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        protocol=mqtt.MQTTv5,
        reconnect_on_failure=False,
    )
    client.connect_timeout = CONNECT_PATIENCE_S
    client.max_inflight_messages_set(0)  # the window of the publisher is the bound
    client.will_set(will_topic, will_payload, qos=1, retain=True)
    if broker.tls:
        client.tls_set_context(_tls(broker))
    if broker.user is not None:
        try:
            client.username_pw_set(broker.user, broker.password)
            too_long = max(len(t.encode()) for t in (broker.user, broker.password or "")) > 65_535
        except ValueError:  # its text could show a part of the password
            raise NoConnectionError(
                "refused", "broker: user or password holds characters that cannot be sent"
            ) from None
        if too_long:
            raise NoConnectionError("refused", "broker: user or password is too long for MQTT")
    return Connection(client)


def _tls(broker: Broker) -> ssl.SSLContext:
    try:
        return ssl.create_default_context(cafile=broker.ca_file)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "no certificate in it"
        if isinstance(error, ssl.SSLError):
            why = "it holds no certificate in PEM form"
        raise NoConnectionError(
            "refused", f"broker.ca_file: {broker.ca_file!r} cannot be used: {why}"
        ) from None
