"""Readings that grow while they are looked at are the same as those read at once."""

from __future__ import annotations

import numpy as np
from support.storing import RIG, RIG_TEXT, reading

from flowlog.review import held
from flowlog.review.held import HeldReadings
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch

NAMES = ("segment", "seq", "phase", "wall_us", "area_m2", "rate_m3_m2")


def test_what_is_held_in_pieces_is_what_the_store_has(tmp_path, monkeypatch):
    monkeypatch.setattr(held, "_SPARE", 3)
    monkeypatch.setattr(held, "_AT_ONCE", 7)
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT, wall_us=1)
    try:
        recorder.begin_run("boot", 1, 0)
        route = recorder.begin_route(1)
        with Archive.open(tmp_path) as archive:
            growing = HeldReadings(route.id, NAMES)
            assert not growing.catch_up(archive)
            assert len(growing) == 0
            assert len(growing.columns()["seq"]) == 0
            for first, count in ((0, 1), (1, 2), (3, 40), (43, 1)):
                made = [(reading(first + n), 1000 + n) for n in range(count)]
                recorder.commit(Batch(route.id, readings=made))
                assert growing.catch_up(archive)
                assert not growing.catch_up(archive)
                whole, parts = archive.readings(route.id, names=NAMES), growing.columns()
                assert whole.keys() == parts.keys()
                for name, column in whole.items():
                    np.testing.assert_array_equal(parts[name], column)
                    assert parts[name].dtype.kind == column.dtype.kind
                assert len(growing) == first + count
    finally:
        recorder.close()
