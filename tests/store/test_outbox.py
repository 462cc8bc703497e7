"""The outbox keeps messages in order until they are acknowledged, and never forgets that."""

from __future__ import annotations

from support.storing import message

from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch


def keys(recorder: Recorder) -> list[str]:
    return [row.key for row in recorder.outbox()]


def test_messages_come_oldest_first_and_in_pages(recorder: Recorder) -> None:
    recorder.commit(Batch(None, outbox=[message(n) for n in range(5)]))
    first = recorder.outbox(0, 2)
    assert [row.key for row in first] == ["alert-0", "alert-1"]
    assert [row.key for row in recorder.outbox(first[-1].id, 9)] == [
        "alert-2",
        "alert-3",
        "alert-4",
    ]
    assert recorder.outbox_size() == 5


def test_what_was_acknowledged_does_not_come_back_with_a_replay(recorder: Recorder) -> None:
    batch = Batch(None, outbox=[message(n) for n in range(3)])
    recorder.commit(batch)
    taken = recorder.outbox()[1]
    recorder.commit(Batch(None, acknowledged=[taken.id]))
    recorder.commit(Batch(None, acknowledged=[taken.id]))
    recorder.commit(batch)
    assert keys(recorder) == ["alert-0", "alert-2"]


def test_an_id_is_never_used_again(recorder: Recorder) -> None:
    recorder.commit(Batch(None, outbox=[message(1)]))
    first = recorder.outbox()[0].id
    recorder.commit(Batch(None, outbox=[message(2)], acknowledged=[first]))
    assert recorder.outbox()[0].id > first


def test_pruning_drops_the_oldest_and_alerts_last(recorder: Recorder) -> None:
    kinds = ["alert", "route", "alert", "route", "alert"]
    batch = Batch(None, outbox=[message(n, kind) for n, kind in enumerate(kinds)])
    recorder.commit(batch)
    assert recorder.prune_outbox(5) == 0
    assert recorder.prune_outbox(4) == 1
    assert keys(recorder) == ["alert-0", "alert-2", "route-3", "alert-4"]
    assert recorder.prune_outbox(2) == 2
    assert keys(recorder) == ["alert-2", "alert-4"]
    recorder.commit(batch)
    assert keys(recorder) == ["alert-2", "alert-4"]
