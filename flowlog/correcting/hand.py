"""How a correction gets into the store: through the daemon if one runs, else at once.

First it is left in the letterbox, durable: whatever happens then, it is taken sooner or later.
"""

from __future__ import annotations

import logging
import time
from pathlib import Path
from typing import Final

from flowlog.daemon.left_corrections import (
    leave_correction,
    understand_correction,
    waiting_corrections,
)
from flowlog.daemon.letterbox import MarkError, remove, set_aside
from flowlog.review.load import rig_of
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreBusyError, StoreError
from flowlog.store.lock import is_locked
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, CorrectionRow

log = logging.getLogger(__name__)

PATIENCE_S: Final = 6.0
"""The daemon looks into its inbox each second and commits at once."""


def hand_over(folder: Path, row: CorrectionRow, patience_s: float = PATIENCE_S) -> bool:
    """Leave a correction, and see it into the store.

    Returns:
        Whether the store has it; if not, it waits, and the daemon takes it when it comes to it.

    Raises:
        MarkError: it cannot be left.
    """
    leave_correction(folder, row)
    end = time.monotonic() + patience_s
    while True:
        try:
            if not is_locked(folder):
                take_waiting(folder)
            if _has(folder, row):
                return True
        except StoreBusyError:
            pass  # another one writes just now
        except StoreError as fault:
            # Who may not write here, or has no room, has left it all the same.
            log.warning("a correction waits for the daemon: %s", fault)
            return False
        if time.monotonic() >= end:
            return False
        time.sleep(0.1)


def take_waiting(folder: Path) -> None:
    """Put what waits in the letterbox into the store, as the daemon would. Nothing if one runs."""
    taken, rows = [], []
    for path in waiting_corrections(folder):
        try:
            rows.append(understand_correction(path))
        except MarkError:
            set_aside(path)
            continue
        taken.append(path)
    if not rows:
        return
    with Archive.open(folder) as archive:
        known = archive.rig()
    try:
        recorder = Recorder.open(folder, rig_of(known), known.text)
    except StoreBusyError:
        return  # a daemon has just started: it takes them
    try:
        recorder.commit(Batch(None, corrections=rows))
    finally:
        recorder.close()
    for path in taken:
        remove(path)


def _has(folder: Path, row: CorrectionRow) -> bool:
    with Archive.open(folder) as archive:
        return any(one.uid == row.uid for one in archive.corrections(row.route_uid))
