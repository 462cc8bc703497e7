"""Where the caller and the publisher's thread meet: a few bounded fields behind one lock.

The lock is held for moments only and never during network traffic, so neither side waits.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from flowlog.publish.messages import Payload
from flowlog.publish.window import Refused, Row, Window

log = logging.getLogger("flowlog.publish")

READINGS_HELD: Final = 3
Word = Literal["none", "stopped", "connecting", "connected", "not allowed", "away", "refused"]


@dataclass(frozen=True, slots=True)
class PublishState:
    """How publishing stands, for a status line and for the health check.

    Words: `none` no broker configured; `connecting` the first try is under way; `connected`;
    `not allowed` connected, but the broker takes no message on some topic; `away` no
    connection, tried again soon; `refused` no connection until somebody changes something,
    tried again now and then; `stopped`.
    """

    word: Word
    sentence: str
    """One plain sentence; never holds the user name or the password."""
    held: int = 0
    """Outbox rows taken in by `offer` whose acknowledgement has not settled yet."""
    on_the_way: int = 0
    readings_dropped: int = 0
    """Readings that were not sent since the start because there was no connection."""

    @property
    def connected(self) -> bool:
        return self.word in {"connected", "not allowed"}


class Handover:
    """Thread-safe. The methods without a comment on the side may be called from any thread."""

    def __init__(self, status: Payload, refusal_delays_s: Sequence[float], settle_s: float) -> None:
        self._lock = threading.Lock()
        self._window = Window(delays_s=refusal_delays_s, settle_s=settle_s)
        self._readings: deque[bytes] = deque()
        self._readings_dropped = 0
        self._status = status
        self._status_due = True
        self._word: Word = "stopped"
        self._sentence = "publishing has not begun"
        self._denied: dict[str, str] = {}

    def state(self) -> PublishState:
        with self._lock:
            word, sentence = self._word, self._sentence
            if word == "connected" and self._denied:
                word, sentence = "not allowed", next(iter(self._denied.values()))
            return PublishState(
                word,
                sentence,
                held=len(self._window),
                on_the_way=self._window.on_the_way,
                readings_dropped=self._readings_dropped,
            )

    def say(self, word: Word, sentence: str) -> None:
        """Change the state; a line in the log for each change, none for each try."""
        with self._lock:
            changed = (word, sentence) != (self._word, self._sentence)
            self._word, self._sentence = word, sentence
        if changed:
            log.log(logging.WARNING if word in {"away", "refused"} else logging.INFO, sentence)

    def put_status(self, status: Payload) -> None:
        with self._lock:
            self._status = status
            self._status_due = True

    def due_status(self) -> Payload | None:
        """The status if it has to be sent, once for each change and each connection."""
        with self._lock:
            due, self._status_due = self._status_due, False
            return self._status if due else None

    def put_reading(self, encoded: bytes) -> None:
        """Keep a reading for the thread; dropped and counted if it would have to wait long."""
        with self._lock:
            if self._word == "connected" and len(self._readings) < READINGS_HELD:
                self._readings.append(encoded)
            else:
                self._readings_dropped += 1

    def take_readings(self) -> list[bytes]:
        with self._lock:
            taken = list(self._readings)
            self._readings.clear()
            return taken

    def drop_readings(self, number: int) -> None:
        with self._lock:
            self._readings_dropped += number

    def offer(self, rows: Iterable[Row]) -> int:
        with self._lock:
            return self._window.offer(rows)

    def take_acknowledged(self) -> list[int]:
        with self._lock:
            return self._window.take_acknowledged()

    def take_refused(self) -> list[Refused]:
        with self._lock:
            return self._window.take_refused()

    def next_row(self, now_s: float, limit: int) -> Row | None:
        with self._lock:
            return self._window.next(now_s, limit)

    def sent(self, token: int, row: Row, now_s: float) -> None:
        with self._lock:
            self._window.sent(token, row.id, now_s)

    def give_up(self, row: Row, sentence: str) -> None:
        with self._lock:
            self._window.give_up(row.id, sentence)

    def acknowledge(self, token: int, now_s: float) -> None:
        """The broker took the row behind `token`, so its topic is allowed."""
        with self._lock:
            row = self._window.acknowledge(token, now_s)
            if row is not None:
                self._denied.pop(row.topic, None)

    def topic_of(self, token: int) -> str | None:
        with self._lock:
            return self._window.topic_of(token)

    def refuse(self, token: int, sentence: str, now_s: float) -> None:
        """The broker did not take the row behind `token`."""
        with self._lock:
            self._window.refuse(token, sentence, now_s)

    def allow(self, topic: str) -> None:
        with self._lock:
            self._denied.pop(topic, None)

    def deny(self, topic: str, sentence: str) -> None:
        """The broker takes nothing on `topic`; a line in the log when that begins."""
        with self._lock:
            new = topic not in self._denied
            self._denied[topic] = sentence
        if new:
            log.warning(sentence)

    def oldest_sent_s(self) -> float | None:
        with self._lock:
            return self._window.oldest_sent_s()

    def first_token(self) -> int | None:
        with self._lock:
            return self._window.first_token()

    def idle(self, now_s: float) -> bool:
        """Whether no row is on the way and none could be sent now."""
        with self._lock:
            return self._window.on_the_way == 0 and self._window.next(now_s) is None

    def settle(self, now_s: float) -> None:
        with self._lock:
            self._window.settle(now_s)

    def lost(self, now_s: float) -> None:
        """The connection has ended: what had no answer waits again, readings are past."""
        with self._lock:
            self._window.lost(now_s)
            self._readings_dropped += len(self._readings)
            self._readings.clear()
            self._denied.clear()
            self._status_due = True
