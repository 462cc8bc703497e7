"""The rules of the outbox window, without a broker and without a clock."""

from __future__ import annotations

import random
from dataclasses import dataclass

from hypothesis import given
from hypothesis import strategies as st

from flowlog.publish.window import Window


@dataclass(frozen=True)
class Row:
    id: int
    topic: str = "t/alert"
    payload: bytes = b"{}"
    retain: bool = False


def rows(*numbers):
    return [Row(number) for number in numbers]


def send_all(window, now_s=0.0, first_token=1000):
    sent = []
    while row := window.next(now_s):
        window.sent(first_token + len(sent), row.id, now_s)
        sent.append(row.id)
    return sent


def test_rows_leave_in_the_order_of_their_ids_up_to_the_size():
    window = Window(size=3)
    assert window.offer(rows(5, 2, 9, 7)) == 4
    assert send_all(window) == [2, 5, 7]
    window.acknowledge(1001, 0.0)
    assert send_all(window, first_token=2000) == [9]
    window.settle(10.0)
    assert window.take_acknowledged() == [5]
    assert window.take_acknowledged() == []


def test_rows_that_could_not_be_stored_go_first_in_the_order_in_which_they_were_said():
    window = Window()
    window.offer(rows(1, -2, 2, -1))
    assert send_all(window) == [-1, -2, 1, 2]
    window.lost(0.0)
    assert send_all(window) == [-1, -2, 1, 2]


def test_the_broker_may_narrow_the_window():
    window = Window(size=50)
    window.offer(rows(1, 2))
    window.sent(1, 1, 0.0)
    assert window.next(0.0, limit=1) is None


def test_a_lost_connection_brings_back_what_had_no_answer_before_anything_new():
    window = Window(size=2)
    window.offer(rows(1, 2, 3))
    send_all(window)
    window.lost(0.0)
    assert send_all(window) == [1, 2]


def test_a_row_offered_again_is_known_before_and_after_its_acknowledgement():
    window = Window()
    window.offer(rows(1))
    assert window.offer(rows(1)) == 0
    send_all(window)
    window.acknowledge(1000, 0.0)
    window.settle(10.0)
    assert window.offer(rows(1)) == 0
    assert send_all(window) == []


def test_an_acknowledgement_counts_when_the_connection_lives_on():
    window = Window(settle_s=2.0)
    window.offer(rows(1, 2))
    send_all(window)
    window.acknowledge(1000, 0.0)
    window.acknowledge(1001, 1.5)
    window.settle(1.9)
    assert window.take_acknowledged() == []
    window.lost(2.0)
    assert window.take_acknowledged() == [1]
    assert send_all(window) == [2]


def test_no_more_rows_are_held_than_there_is_room():
    window = Window(room=2)
    assert window.offer(rows(1, 2, 3)) == 2
    assert len(window) == 2


def test_a_refused_row_waits_while_later_ones_go_ahead_and_is_given_up_at_last():
    window = Window(size=1, delays_s=(10.0,))
    window.offer(rows(1, 2))
    window.sent(100, 1, 0.0)
    window.refuse(100, "not allowed", 0.0)
    assert window.next(0.0).id == 2
    window.sent(101, 2, 0.0)
    window.acknowledge(101, 0.0)
    assert window.next(9.9) is None
    assert window.next(10.0).id == 1
    window.sent(102, 1, 10.0)
    window.refuse(102, "still not allowed", 10.0)
    assert window.next(1e9) is None
    assert [(each.id, each.sentence) for each in window.take_refused()] == [
        (1, "still not allowed")
    ]
    assert window.take_refused() == []
    window.settle(10.0)
    assert len(window) == 0
    assert window.offer(rows(1)) == 0


def test_answers_to_unknown_tokens_are_passed_over():
    window = Window()
    window.offer(rows(1))
    send_all(window)
    window.lost(0.0)
    assert window.acknowledge(1000, 0.0) is None
    assert window.refuse(1000, "no", 0.0) is None
    assert window.take_acknowledged() == []


@given(st.integers(0, 2**32), st.integers(1, 5), st.integers(1, 12))
def test_whatever_happens_each_row_ends_once_and_first_arrivals_keep_the_order(seed, size, room):
    """A broker that refuses some rows, answers late, and dies, forgetting its last 0.5 s."""
    luck = random.Random(seed)
    outbox = list(range(1, 31))
    poisoned = {number for number in outbox if luck.random() < 0.1}
    window = Window(size=size, room=room, delays_s=(1.0, 1.0), settle_s=0.5)
    arrived: list[tuple[int, float]] = []
    ended: list[int] = []
    refused: list[int] = []
    on_the_way: list[tuple[int, int]] = []
    token = 0
    now_s = 0.0
    for _ in range(10_000):
        if not outbox:
            break
        now_s += 0.1
        window.offer(rows(*outbox[:20]))
        assert len(window) <= room
        while row := window.next(now_s):
            token += 1
            window.sent(token, row.id, now_s)
            on_the_way.append((token, row.id))
            if row.id not in poisoned:
                arrived.append((row.id, now_s))
        assert len(on_the_way) <= size
        if luck.random() < 0.1:
            window.lost(now_s)
            on_the_way.clear()
            forgets_s = now_s - luck.uniform(0, 0.45)
            arrived = [(number, at_s) for number, at_s in arrived if at_s < forgets_s]
        while on_the_way and luck.random() < 0.7:
            answered, number = on_the_way.pop(0)
            if number in poisoned:
                window.refuse(answered, "no", now_s)
            else:
                window.acknowledge(answered, now_s)
        window.settle(now_s)
        if luck.random() < 0.5:
            done = window.take_acknowledged()
            gone = [each.id for each in window.take_refused()]
            ended += done
            refused += gone
            outbox = [number for number in outbox if number not in {*done, *gone}]
    assert not outbox
    assert sorted([*ended, *refused]) == list(range(1, 31))
    assert set(refused) == poisoned
    firsts = list(dict.fromkeys(number for number, _ in arrived))
    assert firsts == sorted(set(range(1, 31)) - poisoned)
