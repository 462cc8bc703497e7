"""What can go wrong between here and the broker, as one plain sentence each.

No sentence is made from an exception's own text where that could hold a user name or password.
"""

from __future__ import annotations

import socket
import ssl
from typing import Final, Literal

from paho.mqtt.reasoncodes import ReasonCode

from flowlog.errors import FlowlogError
from flowlog.rig.model import Broker

Trouble = Literal["away", "refused"]
"""Away: try again soon, it may come back by itself. Refused: somebody has to change something,
so try only once in a while."""

BAD_CREDENTIALS: Final = 134
NOT_AUTHORIZED: Final = 135
UNSUPPORTED_PROTOCOL: Final = 132
TAKEN_OVER: Final = 142
_REFUSALS: Final = {
    UNSUPPORTED_PROTOCOL: "does not speak MQTT 5, which flowlog needs",
    133: "does not accept the client name of this rig",
    138: "has banned this client",
    140: "wants another way of logging in than user and password",
}
_POISON: Final = frozenset({129, 130, 144, 149, 153})
"""Reasons for closing a connection that the message sent last can have caused: malformed,
protocol error, topic name, packet too large, payload format (MQTT 5.0, 3.14.2.1)."""


class NoConnectionError(FlowlogError):
    """No connection. `kind` tells how soon it is worth trying again, the text says why."""

    def __init__(self, kind: Trouble, sentence: str) -> None:
        super().__init__(sentence)
        self.kind = kind
        self.sentence = sentence


def place(broker: Broker) -> str:
    """How a sentence names the broker; any host can be printed, whatever it holds."""
    host = broker.host.encode("utf-8", "backslashreplace").decode("utf-8")
    return f"broker {host}:{broker.port}"


def network_trouble(error: OSError | ValueError, broker: Broker) -> NoConnectionError:
    """A connection that could not be opened."""
    where = place(broker)
    if isinstance(error, ssl.SSLCertVerificationError):
        why = error.verify_message.rstrip(".") or "it cannot be verified"
        if error.verify_code in (9, 10):  # not yet valid, expired (X509_V_ERR_*)
            return NoConnectionError(
                "away",
                f"{where}: its certificate is refused: {why} (is this computer's date right?)",
            )
        return NoConnectionError(
            "refused",
            f"{where}: its certificate is refused: {why}"
            " (broker.ca_file must name the authority that signed it)",
        )
    if broker.tls and isinstance(error, ssl.SSLError | ConnectionResetError):
        return NoConnectionError(
            "away",
            f"{where}: no TLS on this port (TLS usually is on 8883; set broker.tls = false"
            " if the broker has none)",
        )
    if isinstance(error, TimeoutError):
        return NoConnectionError("away", f"{where}: no answer")
    if isinstance(error, socket.gaierror):
        return NoConnectionError("away", f"{where}: the name {broker.host!r} is not known here")
    if isinstance(error, ConnectionRefusedError):
        return NoConnectionError("away", f"{where}: nothing listens there")
    if isinstance(error, ValueError):
        return NoConnectionError("refused", f"{where}: this is not a usable host and port")
    return NoConnectionError("away", f"{where}: {error.strerror or 'the network failed'}")


def closed_without_answer(broker: Broker) -> NoConnectionError:
    hint = "" if broker.tls else " (if it wants TLS, set broker.tls = true)"
    return NoConnectionError("away", f"{place(broker)}: it closed the line unasked{hint}")


def silent_broker(broker: Broker) -> NoConnectionError:
    return NoConnectionError("away", f"{place(broker)}: something listens, but not an MQTT broker")


def refused_connection(reason: ReasonCode, broker: Broker) -> NoConnectionError:
    """The broker answered, and the answer was no."""
    where = place(broker)
    if reason.value in (BAD_CREDENTIALS, NOT_AUTHORIZED):
        who = "no user is set" if broker.user is None else "check broker.user and broker.password"
        return NoConnectionError("refused", f"{where}: it refuses this user or password ({who})")
    if reason.value in _REFUSALS:
        return NoConnectionError("refused", f"{where}: it {_REFUSALS[reason.value]}")
    return NoConnectionError("away", f"{where}: it says {str(reason).lower()!r}")


def lost_connection(farewell: ReasonCode | None, broker: Broker) -> NoConnectionError:
    """A connection that was up and is gone."""
    where = place(broker)
    if farewell is None:
        return NoConnectionError("away", f"{where}: the connection is lost")
    if farewell.value == TAKEN_OVER:
        return NoConnectionError(
            "refused", f"{where}: another flowlog with the name of this rig has taken its place"
        )
    return NoConnectionError("away", f"{where}: it closed the line: {str(farewell).lower()!r}")


def unanswered(broker: Broker) -> NoConnectionError:
    """A connection that is up and leads nowhere."""
    return NoConnectionError("away", f"{place(broker)}: it leaves messages unanswered")


def blames_message(farewell: ReasonCode | None) -> bool:
    """Whether the message that was sent first and not answered may be why the line was closed."""
    return farewell is not None and farewell.value in _POISON


def denied(topic: str, reason: ReasonCode, broker: Broker) -> str:
    """The sentence for a message that the broker did not take."""
    if reason.value == NOT_AUTHORIZED:
        return f"{place(broker)}: it does not allow this user to publish on {topic!r}"
    return f"{place(broker)}: it did not take a message on {topic!r}: {str(reason).lower()!r}"
