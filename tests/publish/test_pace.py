from __future__ import annotations

from flowlog.publish.pace import FLAPPING, Pace


def test_pauses_double_up_to_the_longest_while_the_broker_is_away():
    pace = Pace(1, 10, 60)
    assert [pace.pause_s(None, refused=False) for _ in range(6)] == [1, 2, 4, 8, 10, 10]


def test_after_a_long_connection_the_next_try_comes_soon():
    pace = Pace(1, 10, 60)
    for _ in range(5):
        pace.pause_s(None, refused=False)
    assert pace.pause_s(3600, refused=False) == 1


def test_a_refusal_is_tried_slowly_and_does_not_lengthen_what_comes_after():
    pace = Pace(1, 10, 60)
    assert pace.pause_s(None, refused=True) == 60
    assert pace.pause_s(None, refused=False) == 1


def test_connections_that_break_at_once_again_and_again_slow_the_tries_until_one_holds():
    pace = Pace(1, 10, 60)
    pauses = [pace.pause_s(5, refused=False) for _ in range(FLAPPING)]
    assert max(pauses[:-1]) <= 10
    assert pauses[-1] == 60
    assert pace.flapping
    assert pace.pause_s(100, refused=False) == 1
    assert not pace.flapping
