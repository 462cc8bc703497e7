"""Follows the store over MQTT. The store stays the record; nothing of it is lost here.

The caller hands over and takes back and never waits; a thread of our own holds the connection.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from flowlog import __version__
from flowlog.publish import messages
from flowlog.publish.handover import Handover, PublishState
from flowlog.publish.interface import AnyPublisher, NullPublisher
from flowlog.publish.messages import Clock
from flowlog.publish.topics import TopicError, Topics
from flowlog.publish.trouble import place
from flowlog.publish.window import REFUSAL_DELAYS_S, SETTLE_S, Refused, Row
from flowlog.publish.worker import Worker
from flowlog.rig.model import Broker

log = logging.getLogger("flowlog.publish")

__all__ = ["AnyPublisher", "NullPublisher", "Publisher", "make_publisher"]

DELAYS_S: Final = (1.0, 10.0)
"""First and longest pause between two tries to reach a broker that is away."""
REFUSED_DELAY_S: Final = 60.0
"""Between two tries when somebody has to change something first."""


class Publisher:
    """Publishes status, readings and outbox rows of one rig.

    No method raises because of the broker or the network, and none waits, but `stop`, which
    waits at most its timeout. All may be called from any thread.
    """

    enabled: Final = True

    def __init__(
        self,
        broker: Broker,
        rig_slug: str,
        client_id: str | None = None,
        *,
        delays_s: tuple[float, float] = DELAYS_S,
        refused_delay_s: float = REFUSED_DELAY_S,
        refusal_delays_s: Sequence[float] = REFUSAL_DELAYS_S,
        settle_s: float = SETTLE_S,
    ) -> None:
        """Prepare; nothing goes out before `start`.

        The client id must stay the same over restarts (default: `flowlog-<rig>`): the broker
        then ends a dead old connection when the new one begins. With changing ids its will
        would come late and write 'offline' over the status of a daemon that is there.
        """
        self._broker = broker
        self._rig = rig_slug
        self._client_id = client_id or f"flowlog-{rig_slug}"
        self._delays_s = delays_s
        self._refused_delay_s = refused_delay_s
        self._handover = Handover(
            messages.status(rig=rig_slug, version=__version__), refusal_delays_s, settle_s
        )
        self._worker: Worker | None = None
        self._thread: threading.Thread | None = None

    def __repr__(self) -> str:
        return f"<Publisher of {self._rig!r} at {place(self._broker)}: {self.state().word}>"

    def start(self) -> None:
        """Begin to connect, in the background. Once in the life of a publisher."""
        if self._thread is not None:
            return
        try:
            topics = Topics.of(self._broker, self._rig)
        except TopicError as error:
            self._handover.say("refused", str(error))
            return
        will = messages.offline("connection lost", rig=self._rig, version=__version__)
        self._worker = Worker(
            self._handover,
            self._broker,
            topics,
            self._client_id,
            messages.encode(will),
            self._delays_s,
            self._refused_delay_s,
        )
        self._handover.say("connecting", f"{place(self._broker)}: connecting")
        self._thread = threading.Thread(target=self._worker.run, name="publisher", daemon=True)
        self._thread.start()

    def stop(
        self, timeout_s: float = 2.0, *, wall_us: int | None = None, clock: Clock = "none"
    ) -> None:
        """Send what can still be sent, say goodbye, and end; give up after `timeout_s`.

        `wall_us` and `clock` go into the retained status. What is acknowledged by then is still
        to be had from `take_acknowledged`.
        """
        if self._worker is not None and self._thread is not None:
            goodbye = messages.offline(
                "stopped", rig=self._rig, version=__version__, wall_us=wall_us, clock=clock
            )
            self._worker.leave_by(time.monotonic() + 0.75 * timeout_s, messages.encode(goodbye))
            self._thread.join(timeout_s)
        self._handover.say("stopped", "publishing has ended")

    def set_status(self, payload: Mapping[str, Any]) -> None:
        """Replace the retained status; sent at once, and again after each reconnection."""
        if self._encoded(payload) is not None:
            self._handover.put_status(dict(payload))

    def publish_reading(self, payload: Mapping[str, Any]) -> None:
        """Send a reading once, at QoS 0; dropped and counted while there is no connection."""
        encoded = self._encoded(payload)
        if encoded is not None:
            self._handover.put_reading(encoded)

    def offer(self, rows: Iterable[Row]) -> int:
        """Take in rows of the outbox, oldest first; how many were new and found room.

        Offering a row again is harmless, also between its acknowledgement and its deletion.
        """
        return self._handover.offer(rows)

    def take_acknowledged(self) -> list[int]:
        """Ids of rows that are delivered since the last call: delete them.

        A row is delivered when the broker has acknowledged it and the connection has lived on
        for two seconds (`window.SETTLE_S`), or has been ended by `stop`.
        """
        return self._handover.take_acknowledged()

    def take_refused(self) -> list[Refused]:
        """Rows given up since the last call because the broker refuses them: log and delete."""
        return self._handover.take_refused()

    def state(self) -> PublishState:
        """How it stands now."""
        return self._handover.state()

    def _encoded(self, payload: Mapping[str, Any]) -> bytes | None:
        try:
            return messages.encode(payload)
        except (TypeError, ValueError) as error:
            log.warning("a message cannot be written as JSON and is not published: %s", error)
            return None


def make_publisher(
    broker: Broker | None, rig_slug: str, client_id: str | None = None
) -> AnyPublisher:
    """The publisher of a rig, whether it has a broker or not."""
    return NullPublisher() if broker is None else Publisher(broker, rig_slug, client_id)
