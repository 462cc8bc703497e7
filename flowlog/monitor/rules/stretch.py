"""Many ticks at once, for the rules.

Nearly all of the time nothing turns: no alert opens or clears. A rule's `look` says for how many
ticks from the first on this is so, without changing anything; where all rules see all of a
stretch through, `go_on` brings each to where `step`, called tick by tick, would have brought it,
to the last bit. Where a rule does not, or is not sure, the ticks go through `step`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.motion import Steps
from flowlog.monitor.outputs import Position
from flowlog.monitor.phase import Phases
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.sensors import Pressure, Pressures
from flowlog.monitor.ticks import Tick, TickTable


@dataclass(eq=False)
class Stretch:
    """Ticks of one segment, measured, on the assumption that the gauge can be trusted."""

    at: Sequence[Position]
    ticks: TickTable
    steps: Steps
    pressures: Pressures | None
    """None while the board has not said what its ADC is, or has no gauge."""
    phases: Phases
    area_m2: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.at)

    def column(self, name: str) -> NDArray[np.int64]:
        """One field of `Tick`, as a view of shape (n,)."""
        view: NDArray[np.int64] = self.ticks[Tick._fields.index(name)]
        return view

    @property
    def pressure_pa(self) -> NDArray[np.float64] | None:
        return self.pressures.mean_pa if self.pressures is not None else None

    @cached_property
    def valve_open(self) -> NDArray[np.bool_] | None:
        """None where no boom-valve input is fitted."""
        known = self.column("valve_known")
        return self.column("valve_open") * 2 > known if known[0] else None

    @cached_property
    def settled(self) -> list[int]:
        """The ticks of settled spraying."""
        return np.flatnonzero(self.phases.spraying).tolist()

    @cached_property
    def runs(self) -> list[tuple[int, int]]:
        """Begin and end of each run of settled spraying."""
        edges = np.diff(self.phases.spraying, prepend=False, append=False)
        ends: list[int] = np.flatnonzero(edges).tolist()
        return list(zip(ends[::2], ends[1::2], strict=True))

    def moment(self, i: int) -> Moment:
        """One tick as the rules see it in `step`."""
        part = slice(i, i + 1)
        pressure = None
        if self.pressures is not None:
            of = self.pressures
            mean, low, high = (float(column[i]) for column in (of.mean_pa, of.min_pa, of.max_pa))
            pressure = Pressure(mean, low, high, "ok")
        return Moment(
            self.at[i],
            Tick._make(self.ticks[:, i].tolist()),
            next(self.steps[part].rows()),
            self.phases.names[i],
            pressure,
            pressure.mean_pa if pressure is not None else None,
            float(self.area_m2[i]),
            bool(self.valve_open[i]) if self.valve_open is not None else None,
        )

    def upto(self, judged: Sequence[int], count: int) -> int:
        """How many ticks pass if `count` of the judged ones do."""
        return judged[count] if count < len(judged) else len(self)


def first(turns: NDArray[np.bool_]) -> int:
    """Where the first of them is; their number if there is none."""
    at = int(turns.argmax()) if len(turns) else 0
    return at if len(turns) and turns[at] else len(turns)
