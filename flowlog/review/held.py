"""A route's readings so far, held as columns that grow, with little copying and little waste."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from flowlog.store.archive import Archive
from flowlog.store.rows import ReadingColumns

_AT_ONCE: Final = 4000
"""Readings fetched at a time, so that a day is not in memory twice."""
_SPARE: Final = 3600
"""Room for another hour when the columns are full."""


class HeldReadings:
    """All readings of one route; `catch_up` reads only what was not read yet.

    Args:
        names: the columns to hold, `segment` and `seq` among them.
    """

    def __init__(self, route_id: int, names: Sequence[str]) -> None:
        self.route_id = route_id
        self._names = tuple(names)
        self._room: dict[str, NDArray[Any]] = {}
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def catch_up(self, archive: Archive) -> bool:
        """Read what is new. Returns whether there was anything."""
        before = self._count
        while True:
            new = archive.readings(
                self.route_id, after=self._last(), limit=_AT_ONCE, names=self._names
            )
            self._add(new)
            if len(new["seq"]) < _AT_ONCE:
                return self._count > before

    def columns(self) -> ReadingColumns:
        """Views of what is held, valid until the next `catch_up`."""
        return {name: column[: self._count] for name, column in self._room.items()}

    def _last(self) -> tuple[int, int] | None:
        if not self._count:
            return None
        at = self._count - 1
        return int(self._room["segment"][at]), int(self._room["seq"][at])

    def _add(self, new: ReadingColumns) -> None:
        count = self._count + len(new["seq"])
        for name, column in new.items():
            held = self._room.get(name)
            kind = column.dtype if held is None else np.promote_types(held.dtype, column.dtype)
            if held is None or len(held) < count or held.dtype != kind:
                room = np.empty(count + _SPARE, kind)
                if held is not None:
                    room[: self._count] = held[: self._count]
                self._room[name] = held = room
            held[self._count : count] = column
        self._count = count
