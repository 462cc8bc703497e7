"""What waits for the store: in order, merged, bounded, and alerts are never dropped."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from flowlog.daemon.pending import EndRoute, Pending, Piece, Route, ShiftWall
from flowlog.monitor.outputs import Event, Position
from flowlog.monitor.stream import TankFill
from flowlog.store.rows import EventRow, OutboxMessage
from flowlog.wire.samples import FIELDS, Samples

HERE = Position(0, 0, 0)


def samples(first: int, count: int) -> Samples:
    table = np.zeros((count, len(FIELDS)), dtype=np.int64)
    table[:, 1] = np.arange(first, first + count)
    return Samples(table)


def event(uid: str) -> EventRow:
    return EventRow(Event(uid, "tip_blocked", "opened", HERE, HERE, "x"), 0, 0, "monitor", uid)


def drain(pending: Pending, most: int) -> list[object]:
    taken = []
    while (work := pending.take(most)) is not None:
        taken.append(work)
        if isinstance(work, Piece):
            taken[-1] = work.batch(7, [])
            work.committed()
        pending.done()
    return taken


@given(st.lists(st.integers(0, 30), max_size=40), st.integers(1, 100))
def test_merging_in_any_way_keeps_all_samples_once_and_in_order(counts, most):
    pending, route, number = Pending(), Route("r", 0, id=1), 0
    for count in counts:
        pending.add(Piece(route, [samples(number, count), TankFill(float(number))]))
        number += count
    batches = drain(pending, most)
    ordinal, mark = 0, 0
    for batch in batches:
        assert batch.first_ordinal == ordinal
        assert list(batch.samples.column("seq")) == list(
            range(ordinal, ordinal + len(batch.samples))
        )
        ordinal += len(batch.samples)
        for item in batch.items:
            assert item.number == mark
            assert item.ordinal == item.item.volume_m3 + counts[mark]
            mark += 1
    assert (ordinal, mark) == (number, len(counts))
    assert route.next_ordinal == number
    assert pending.samples == 0
    assert len(pending) == 0


def test_what_failed_is_taken_again_the_same():
    pending, route = Pending(), Route("r", 0, id=1)
    pending.add(Piece(route, [samples(0, 5)]))
    first = pending.take()
    again = pending.take()
    assert first.batch(1, []).samples == again.batch(1, []).samples
    assert first.batch(1, []).first_ordinal == again.batch(1, []).first_ordinal == 0


def test_pieces_of_two_routes_and_other_work_keep_their_order():
    pending = Pending()
    one, two = Route("one", 0, id=1), Route("two", 0, id=2)
    for work in (
        Piece(one, [samples(0, 1)]),
        Piece(one, [samples(1, 1)]),
        EndRoute(one, 9),
        Piece(two, [samples(2, 1)]),
        ShiftWall(5, 0),
        Piece(two, [samples(3, 1)]),
    ):
        pending.add(work)
    taken = drain(pending, 1000)
    assert [type(work).__name__ for work in taken] == [
        "Batch",
        "EndRoute",
        "Batch",
        "ShiftWall",
        "Batch",
    ]
    assert [len(taken[i].samples) for i in (0, 2, 4)] == [2, 1, 1]
    assert taken[4].first_ordinal == 1


def test_when_too_much_waits_the_oldest_samples_go_and_no_alert():
    pending, route = Pending(most_samples=1000), Route("r", 0, id=1)
    dropped = 0
    for number in range(300):
        piece = Piece(route, [samples(number * 10, 10)], events=[event(str(number))])
        dropped += pending.add(piece)
        assert pending.samples <= 1000
    assert dropped == pending.dropped == 3000 - pending.samples > 0
    batches = drain(pending, 100)
    uids = [row.uid for batch in batches for row in batch.events]
    seqs = [seq for batch in batches for seq in batch.samples.column("seq")]
    assert uids == [str(number) for number in range(300)]
    assert seqs == list(range(dropped, 3000))


def test_stripping_keeps_events_and_marks():
    pending, route = Pending(), Route("r", 0, id=1)
    pending.add(Piece(route, [samples(0, 10), TankFill(0.2)], events=[event("a")]))
    assert pending.strip() == 10
    batch = pending.take().batch(1, [])
    assert len(batch.samples) == 0
    assert [item.item for item in batch.items] == [TankFill(0.2)]
    assert len(batch.events) == 1


def test_a_message_that_was_delivered_past_the_store_is_withdrawn():
    pending, route = Pending(), Route("r", 0, id=1)
    messages = [OutboxMessage("t", b"{}", 1, False, key) for key in ("a", "b")]
    pending.add(Piece(route, outbox=messages))
    pending.withdraw("a")
    assert [message.key for message in pending.take().outbox] == ["b"]
