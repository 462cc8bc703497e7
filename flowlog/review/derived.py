"""A route derived anew: its raw stream through a new monitor, with other calibrations.

The readings and events of the store stay as they are. What comes out is kept beside them, in files
of their own that may be deleted at any time: they can be derived again.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from flowlog import __version__
from flowlog.calibrating.inuse import InUse
from flowlog.errors import FlowlogError
from flowlog.monitor.outputs import Event, Position
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stops import Columns
from flowlog.monitor.summary import columns_of
from flowlog.store.archive import Archive
from flowlog.store.rows import EventRow, RouteRow
from flowlog.wire.samples import Samples

FOLDER: Final = "derived"
_BLOCK: Final = 20_000
"""Readings that are turned into columns at once: as objects they take ten times the memory."""

Progress = Callable[[float], None]
"""Told the share that is done, 0 to 1."""


class DeriveError(FlowlogError):
    """A route that cannot be derived anew."""


@dataclass(frozen=True, slots=True)
class Derived:
    """What the monitor said with other calibrations. `columns` has no wall times."""

    columns: Columns
    events: tuple[Event, ...]


def kept_at(folder: Path, route: RouteRow, uids: tuple[str, ...]) -> Path:
    """Where a route is kept that was derived with these calibrations by this program."""
    with_what = json.dumps([__version__, route.rig_sha256, sorted(uids)])
    name = hashlib.sha256(with_what.encode()).hexdigest()[:16]
    return folder / FOLDER / f"{route.uid}-{name}.npz"


def load(path: Path) -> Derived | None:
    """What was kept; None if there is nothing that can be read."""
    try:
        with np.load(path, allow_pickle=False) as found:
            columns = {name: found[name] for name in found.files if name != "events"}
            events = tuple(_event(one) for one in json.loads(str(found["events"])))
    except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile):
        return None
    return Derived(columns, events)


def keep(path: Path, derived: Derived) -> bool:
    """Write it whole or not at all; False if it cannot be kept there."""
    packed = io.BytesIO()
    events = json.dumps([asdict(event) for event in derived.events])
    arrays: dict[str, Any] = {**derived.columns, "events": np.array(events)}
    np.savez_compressed(packed, **arrays)
    begun: Path | None = None
    try:
        path.parent.mkdir(exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        begun = Path(name)
        with os.fdopen(handle, "wb") as out:
            out.write(packed.getbuffer())
        begun.replace(path)
    except OSError:
        if begun is not None:
            with contextlib.suppress(OSError):
                begun.unlink(missing_ok=True)
        return False
    return True


def derive(
    archive: Archive, route: RouteRow, in_use: InUse, progress: Progress | None = None
) -> Derived:
    """Run the route's stored stream through a new monitor.

    Args:
        in_use: the rig of the route with the calibrations to judge it by.

    Raises:
        DeriveError: the route is still open, or its raw samples are gone.
    """
    if route.ended_wall_us is None:
        raise DeriveError("the route is still open: it can be derived anew when it has ended")
    total = archive.next_ordinal(route.id)
    monitor = Monitor(in_use.rig, in_use.baseline)
    parts: list[Columns] = []
    readings, events, done = [], [], 0
    for ordinal, item in archive.stream(route.id):
        if ordinal > done:
            break
        output = monitor.feed(item)
        readings += output.readings
        events += output.events
        if isinstance(item, Samples):
            done = ordinal + len(item)
        if len(readings) >= _BLOCK:
            parts.append(columns_of(readings))
            readings = []
        if progress is not None and total:
            progress(done / total)
    if done < total or not total:
        raise DeriveError("the raw samples of this route were deleted: it cannot be derived anew")
    output = monitor.finish()
    parts.append(columns_of(readings + output.readings))
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return Derived(columns, tuple(events + output.events))


def with_wall_times(
    derived: Derived, stored: Columns, said: list[EventRow], uid: str
) -> tuple[Columns, list[EventRow]]:
    """The derived readings and events with the wall times of the stored ones, as now known.

    What the daemon said of itself (`source` "daemon") was not derived, and is taken over.
    """
    columns = dict(derived.columns)
    wall = _wall(stored, columns["segment"], columns["t_us"])
    columns["wall_us"] = wall
    rows = [row for row in said if row.source == "daemon"]
    for number, event in enumerate(derived.events):
        at, since = (
            _wall(stored, np.array([place.segment]), np.array([place.t_us]))[0]
            for place in (event.at, event.since)
        )
        rows.append(EventRow(event, int(at), int(since), "monitor", f"{uid}:derived:{number}"))
    rows.sort(key=lambda row: row.wall_us)
    return columns, rows


def _wall(
    stored: Columns, segment: NDArray[np.int64], t_us: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Wall times of moments by the board's clock: between those of the stored readings."""
    wall = np.zeros(len(segment), dtype=np.int64)
    for one in np.unique(segment):
        here, there = segment == one, stored["segment"] == one
        if not there.any():
            # A run of the board too short for a reading: the end of what came before it.
            before = np.flatnonzero(stored["segment"] < one)
            wall[here] = stored["wall_us"][before[-1]] if len(before) else 0
            continue
        known_t, known_wall = stored["t_us"][there], stored["wall_us"][there]
        near = np.clip(np.searchsorted(known_t, t_us[here]), 0, len(known_t) - 1)
        wall[here] = known_wall[near] - (known_t[near] - t_us[here])
    return wall


def _event(plain: dict[str, Any]) -> Event:
    return Event(
        **{
            **plain,
            "at": Position(*plain["at"]),
            "since": Position(*plain["since"]),
            "checks": tuple(plain["checks"]),
        }
    )
