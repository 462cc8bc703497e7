"""Carries messages from the outbox to the broker, and past the store while that fails."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from typing import Final, Protocol

from flowlog.daemon.health import Facts
from flowlog.daemon.pending import Pending, Piece
from flowlog.publish.window import Refused
from flowlog.store.rows import OutboxMessage, OutboxRow

log = logging.getLogger(__name__)

KEPT_MESSAGES: Final = 50_000
"""Messages kept for a broker that is away; the oldest go first. About 20 MB."""
_OFFERED_AT_ONCE: Final = 100


class Outlet(Protocol):
    """What is needed of `flowlog.publish.Publisher`."""

    def offer(self, rows: Sequence[OutboxRow]) -> object: ...
    def take_acknowledged(self) -> list[int]: ...
    def take_refused(self) -> Sequence[Refused]: ...


class OutboxStore(Protocol):
    """What is needed of the store."""

    def outbox(self, after_id: int = 0, limit: int = 50) -> list[OutboxRow]: ...
    def outbox_size(self) -> int: ...
    def prune_outbox(self, keep: int) -> int: ...


class Courier:
    """The writer's hand for messages; only its thread calls it.

    `acknowledged` holds ids that may be deleted with the next commit; whoever commits clears it.
    """

    def __init__(self, outlet: Outlet | None, facts: Facts, pending: Pending) -> None:
        self._outlet = outlet
        self._facts = facts
        self._pending = pending
        self.acknowledged: list[int] = []
        self._offered_id = 0
        self._direct: dict[int, str] = {}
        self._direct_keys: set[str] = set()

    def collect(self) -> None:
        """Take note of what the broker has taken, or refuses for good."""
        if self._outlet is None:
            return
        refused = self._outlet.take_refused()
        for row in refused:
            log.warning("a message was given up, the store keeps the fact: %s", row.sentence)
        for number in [*self._outlet.take_acknowledged(), *(row.id for row in refused)]:
            if number > 0:
                self.acknowledged.append(number)
            elif (key := self._direct.pop(number, None)) is not None:
                self._pending.withdraw(key)

    def feed(self, store: OutboxStore) -> None:
        """Offer what waits in the outbox."""
        if self._outlet is None:
            return
        rows = store.outbox(self._offered_id, _OFFERED_AT_ONCE)
        if rows:
            self._outlet.offer(rows)
            self._offered_id = rows[-1].id
        self._facts.broker_waiting = store.outbox_size()

    def tidy(self, store: OutboxStore) -> None:
        """Bound the outbox, and offer all of it again: call once a minute.

        The outlet had no room for some while the broker was away, and knows what it has.
        """
        self._offered_id = 0
        dropped = store.prune_outbox(KEPT_MESSAGES)
        if dropped:
            log.warning(
                "the broker has been away for long: %d of the oldest messages were dropped, "
                "the store keeps the alerts",
                dropped,
            )

    def past_the_store(self, pieces: Iterable[Piece]) -> None:
        """Alerts that cannot be stored are told all the same; their ids count -1, -2, ..."""
        if self._outlet is None:
            return
        rows = []
        for piece in pieces:
            for message in piece.outbox:
                if message.key not in self._direct_keys:
                    self._direct_keys.add(message.key)
                    number = -len(self._direct_keys)
                    self._direct[number] = message.key
                    rows.append(_row(number, message))
        if rows:
            self._outlet.offer(rows)


def _row(number: int, message: OutboxMessage) -> OutboxRow:
    return OutboxRow(
        number, message.topic, message.payload, message.qos, message.retain, message.key
    )
