"""What must hold of a store after its writer was cut off at any moment."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import numpy as np
from support.storing import second_batch

from flowlog.store.archive import Archive
from flowlog.wire.samples import Samples


def seconds_of_clean_prefix(folder: Path) -> int:
    """How many seconds are stored; fails unless they are whole, from the first, in order."""
    db = sqlite3.connect(folder / "flowlog.db")
    try:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []
    finally:
        db.close()
    with Archive.open(folder) as archive:
        if not archive.routes():
            return 0
        seqs = archive.readings(1)["seq"]
        assert np.array_equal(seqs, np.arange(len(seqs)) * 10 + 9)
        batches = [second_batch(1, second) for second in range(len(seqs))]
        assert archive.raw(1) == Samples.join([batch.samples for batch in batches])
        assert archive.events(1) == [row for batch in batches for row in batch.events]
    return len(seqs)
