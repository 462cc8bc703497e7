"""Which outbox row may be sent next: order, bounds, refusals. No clock and no connection.

Rows leave in the order of their ids, at most `size` on the way at once, at most `room` held.
When the connection is lost, what was on the way waits again, so the first arrival of each row
at a receiver stays in order and a row can only arrive more often, never less.
An acknowledgement counts only after the connection has lived on for `settle_s`: a broker answers
before it has saved, and one that is killed in between has forgotten what it acknowledged. So a
loss brings back what was acknowledged just before it, too.
A row that the broker refuses is tried again after each of `delays`, while later rows go ahead;
after the last one it is given up, and `take_refused` says so.
"""

from __future__ import annotations

from bisect import insort
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

SIZE: Final = 50
ROOM: Final = 1000
SETTLE_S: Final = 2.0
REMEMBERED: Final = 4096
"""Finished ids that are still recognised when the caller offers them once more, because it has
not yet deleted them."""
REFUSAL_DELAYS_S: Final = (5.0, 30.0, 120.0, 600.0)
"""A permission is often repaired within minutes; after about a quarter of an hour the row goes."""


class Row(Protocol):
    """A row of the outbox. `id` grows and is never used again, even after a deletion.

    An id below zero is a message that could not be stored (a full disk) and is told all the
    same; such ids count downwards, and their messages go before the stored ones.
    """

    @property
    def id(self) -> int: ...
    @property
    def topic(self) -> str: ...
    @property
    def payload(self) -> bytes: ...
    @property
    def retain(self) -> bool: ...


@dataclass(frozen=True, slots=True)
class Refused:
    """A row that the broker did not take, given up after the last try."""

    id: int
    topic: str
    sentence: str


@dataclass(slots=True)
class _Entry:
    row: Row
    refusals: int = 0
    due_s: float = 0.0


def _order(number: int) -> tuple[bool, int]:
    return number > 0, abs(number)


class Window:
    """The rows between the outbox and the broker. Not thread-safe: the owner holds a lock."""

    def __init__(
        self,
        size: int = SIZE,
        room: int = ROOM,
        delays_s: Sequence[float] = REFUSAL_DELAYS_S,
        settle_s: float = SETTLE_S,
    ) -> None:
        self._settle_s = settle_s
        self._size = size
        self._room = room
        self._delays_s = tuple(delays_s)
        self._entries: dict[int, _Entry] = {}
        self._waiting: list[int] = []
        self._later: set[int] = set()
        self._on_the_way: OrderedDict[int, tuple[int, float]] = OrderedDict()
        self._settling: OrderedDict[int, float] = OrderedDict()
        self._finished: OrderedDict[int, None] = OrderedDict()
        self._acknowledged: list[int] = []
        self._refused: list[Refused] = []

    def __len__(self) -> int:
        return len(self._entries)

    @property
    def on_the_way(self) -> int:
        return len(self._on_the_way)

    def offer(self, rows: Iterable[Row]) -> int:
        """Take in rows that are not known yet, as far as there is room; how many were taken."""
        taken = 0
        for row in sorted(rows, key=lambda each: _order(each.id)):
            if row.id in self._entries or row.id in self._finished:
                continue
            if len(self._entries) >= self._room:
                break
            self._entries[row.id] = _Entry(row)
            insort(self._waiting, row.id, key=_order)
            taken += 1
        return taken

    def next(self, now_s: float, limit: int | None = None) -> Row | None:
        """The first row that may be sent now, or None. `limit` narrows the window."""
        size = self._size if limit is None else min(self._size, limit)
        if len(self._on_the_way) >= size:
            return None
        best = self._waiting[0] if self._waiting else None
        for number in self._later:
            if self._entries[number].due_s <= now_s and (
                best is None or _order(number) < _order(best)
            ):
                best = number
        return None if best is None else self._entries[best].row

    def sent(self, token: int, number: int, now_s: float) -> None:
        """Row `number` is on the way; the broker's answer will name `token`."""
        self._leave_queue(number)
        self._on_the_way[token] = (number, now_s)

    def oldest_sent_s(self) -> float | None:
        """When the row that has waited longest for its answer was sent, or None."""
        return next((sent_s for _, sent_s in self._on_the_way.values()), None)

    def acknowledge(self, token: int, now_s: float) -> Row | None:
        """The broker took the row behind `token`. The row, or None for an unknown token."""
        number, _ = self._on_the_way.pop(token, (None, 0.0))
        if number is None:
            return None
        self._settling[number] = now_s
        return self._entries[number].row

    def settle(self, now_s: float) -> None:
        """Count the acknowledgements that are old enough; all of them at `math.inf`."""
        while self._settling:
            number, acknowledged_s = next(iter(self._settling.items()))
            if acknowledged_s + self._settle_s > now_s:
                return
            del self._settling[number]
            self._acknowledged.append(number)
            self._finish(number)

    def refuse(self, token: int, sentence: str, now_s: float) -> Row | None:
        """The broker refused the row behind `token`: try it later, or give it up."""
        number, _ = self._on_the_way.pop(token, (None, 0.0))
        if number is None:
            return None
        entry = self._entries[number]
        entry.refusals += 1
        if entry.refusals > len(self._delays_s):
            return self.give_up(number, sentence)
        entry.due_s = now_s + self._delays_s[entry.refusals - 1]
        self._later.add(number)
        return entry.row

    def give_up(self, number: int, sentence: str) -> Row:
        """Report row `number` as refused without another try."""
        self._leave_queue(number)
        row = self._finish(number)
        self._refused.append(Refused(number, row.topic, sentence))
        return row

    def topic_of(self, token: int) -> str | None:
        """Topic of the row behind `token`, or None for an unknown token."""
        if token not in self._on_the_way:
            return None
        return self._entries[self._on_the_way[token][0]].row.topic

    def first_token(self) -> int | None:
        """Token of the row that was sent first and has no answer yet."""
        return next(iter(self._on_the_way), None)

    def lost(self, now_s: float) -> None:
        """The connection is gone: what has no settled answer waits again."""
        self.settle(now_s)
        for number in [*self._settling, *(number for number, _ in self._on_the_way.values())]:
            if self._entries[number].refusals:
                self._later.add(number)
            else:
                insort(self._waiting, number, key=_order)
        self._settling.clear()
        self._on_the_way.clear()

    def take_acknowledged(self) -> list[int]:
        """Ids whose acknowledgement has settled since the last call."""
        taken, self._acknowledged = self._acknowledged, []
        return taken

    def take_refused(self) -> list[Refused]:
        """Rows that were given up since the last call."""
        taken, self._refused = self._refused, []
        return taken

    def _leave_queue(self, number: int) -> None:
        if number in self._later:
            self._later.discard(number)
        elif number in self._waiting:
            self._waiting.remove(number)

    def _finish(self, number: int) -> Row:
        self._finished[number] = None
        while len(self._finished) > REMEMBERED:
            self._finished.popitem(last=False)
        return self._entries.pop(number).row
