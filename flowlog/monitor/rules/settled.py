"""Ticks of settled spraying, one and many, on their way to be judged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from flowlog.monitor.outputs import Position


class Settled(NamedTuple):
    """One tick of settled spraying."""

    at: Position
    seconds: float
    log_conductance: float
    """ln(Q / P^0.5) as it would be at the law's pressure, Q in m3/s and P in Pa."""
    log_pressure: float
    """ln(P), P in Pa."""


class SettledTicks(NamedTuple):
    """Many that follow one another without a break, as columns: those of `Settled`, and `said`."""

    at: Sequence[Position]
    seconds: Sequence[float]
    log_conductance: Sequence[float]
    log_pressure: Sequence[float]
    said: Sequence[Position]
    """When each is judged."""

    def tick(self, i: int) -> Settled:
        return Settled(self.at[i], self.seconds[i], self.log_conductance[i], self.log_pressure[i])

    def part(self, begin: int, end: int) -> SettledTicks:
        part = slice(begin, end)
        return SettledTicks(
            self.at[part],
            self.seconds[part],
            self.log_conductance[part],
            self.log_pressure[part],
            self.said[part],
        )

    def confirmed(self, held: Settled | None) -> SettledTicks:
        """Each is judged when the next has come, the last not yet.

        Args:
            held: The tick before the first of them, if it waits.
        """
        if held is None:
            return self.part(0, len(self.at) - 1)._replace(said=self.said[1:])
        return SettledTicks(
            [held.at, *self.at[:-1]],
            [held.seconds, *self.seconds[:-1]],
            [held.log_conductance, *self.log_conductance[:-1]],
            [held.log_pressure, *self.log_pressure[:-1]],
            self.said,
        )


class Run(NamedTuple):
    """Ticks of one run of settled spraying, as they are measured, as columns."""

    at: Sequence[Position]
    seconds: list[float]
    flow_m3_s: list[float]
    pressure_pa: list[float]
    few_lost: list[bool]
    inside: list[bool]
    """The valve's own input says that the tick lies whole within the spraying."""

    def rows(self) -> Iterator[tuple[Position, float, float, float, bool, bool]]:
        """Tick by tick."""
        return zip(*self, strict=True)
