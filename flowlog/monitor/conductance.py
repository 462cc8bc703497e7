"""The boom's conductance against its healthy baseline: the statistic that finds clogged tips.

Conductance is flow per square root of pressure, at the sensors (per another power near it, where
that was calibrated). It depends only on what lies behind them (tips, strainers at the tips, leaks,
the liquid's density) and is blind to pump and regulator: one blocked tip of N takes 1/N from it
whatever feeds the boom.

The baseline is learnt from the first minutes of settled spraying and then kept. It is learnt,
not computed from the rig file, because meter, gauge and tips are each off by more than one
clogged tip of twelve takes away.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt
from statistics import median
from typing import Final

from flowlog.rig.model import HealthyBoom

METER_LAG_S = 0.2
"""First-order lag of a small turbine (0.15 to 0.25 s); the pressure is delayed alike, so that a
change of pressure does not look like a change of conductance."""

ARM_S = 20.0
"""Settled spraying before the first judgement. Over 20 s the level is known to 0.45 % at the
noise of `flowlog.monitor.density.NOISE_DENSITY_S`, a tenth of half a tip of twelve."""

LEARN_S = 300.0
"""Settled spraying over which the level is refined: 300 s give it to 0.1 %."""

TRACK_S = 1800.0
"""Settled spraying over which it is averaged from then on. Half an hour of the assumed noise gives
0.05 %, which the test for a quarter of a tip of twelve needs (its false alarms double for an error
of 0.05 %, see `cusum`), and a tip that clogs within ten minutes is still a step against it."""


@dataclass(frozen=True, slots=True)
class Law:
    """How flow goes with pressure: Q = G * P^0.5 at one pressure, and as P^n around it.

    So the conductance G has its unit and its size whatever n is, and may be held against that of
    new tips, where ln(Q / P^n) may not: for n = 0.52 it lies 0.25 lower. A mix of another density
    moves G alike at every pressure. By how much is certain for n = 0.5, and where it differs
    because of the gauge's zero or of check valves: density^-0.5. Where a loss that goes with the
    Reynolds number bends it, density^(n - 1) by its dimensions: `healthy_boom` has that doubt.
    """

    exponent: float = 0.5
    at_pa: float = 1.0

    @property
    def scale(self) -> float:
        """P^n times this is P^0.5 at `at_pa`; 1.0 to the last bit for the square root."""
        return float(self.at_pa ** (0.5 - self.exponent))

    def root(self, pressure_pa: float) -> float:
        """What the flow is proportional to: P^0.5 at `at_pa`, Pa^0.5."""
        return float(pressure_pa**self.exponent * self.scale)


SQUARE_ROOT: Final = Law()


def law_of(healthy: HealthyBoom | None) -> Law:
    """The calibrated law, or the square root where there is none."""
    return SQUARE_ROOT if healthy is None else Law(healthy.exponent, healthy.pressure_pa)


class Residual:
    """ln(Q / P^0.5) as it would be at the law's pressure, the pressure delayed as the flow is."""

    def __init__(self, law: Law = SQUARE_ROOT) -> None:
        self._exponent = law.exponent
        self._scale = law.scale
        self._delayed: float | None = None
        self._seconds = 0.0
        self._share = self._decay = 0.0
        """Of ticks of `_seconds`: nearly all are equally long."""

    def restart(self) -> None:
        self._delayed = None

    def run(
        self, seconds: Sequence[float], flow_m3_s: Sequence[float], pressure_pa: Sequence[float]
    ) -> list[float]:
        """`step` for each of many ticks, flow and pressure of each above zero."""
        before, usual_s, decay, share = self._delayed, self._seconds, self._decay, self._share
        kept = (1.0 - decay) / share if share else 0.0
        values = []
        columns = zip(seconds, flow_m3_s, self._roots(pressure_pa), strict=True)
        for tick_s, flow, now in columns:
            if before is None:
                before = root = now
            else:
                # Mean over the tick of a first-order lag whose input steps at its start.
                if tick_s != usual_s:
                    usual_s = tick_s
                    share = tick_s / METER_LAG_S
                    decay = exp(-share)
                    kept = (1.0 - decay) / share
                away = before - now
                before = now + away * decay
                root = now + away * kept
            values.append(log(flow / root))
        self._delayed, self._seconds, self._decay, self._share = before, usual_s, decay, share
        return values

    def _roots(self, pressure_pa: Sequence[float]) -> list[float]:
        if self._exponent == 0.5:
            return list(map(sqrt, pressure_pa))
        exponent, scale = self._exponent, self._scale
        return [pressure**exponent * scale for pressure in pressure_pa]

    def step(self, seconds: float, flow_m3_s: float, pressure_pa: float) -> float | None:
        """Log conductance for one tick, or None where there is none."""
        if pressure_pa <= 0.0:
            self._delayed = None
            return None
        if flow_m3_s > 0.0:
            return self.run([seconds], [flow_m3_s], [pressure_pa])[0]
        self.run([seconds], [1.0], [pressure_pa])
        return None


class Baseline:
    """Healthy level of the log conductance, learnt from settled spraying.

    A mean over the first minutes, then a slow average over `TRACK_S`: temperature and wear move a
    healthy boom by more in a day than the smallest fault does at once. Once it is armed, what it
    gathers moves it only when it is refined, every twenty seconds: in between, many ticks are
    judged at once against the same level.
    """

    def __init__(self) -> None:
        self.level = 0.0
        """Log conductance of the healthy boom, Q in m3/s and P in Pa."""
        self.seconds = 0.0
        """Settled spraying that the level rests on."""
        self.armed = False
        self.first: list[float] = []
        """What it was armed on."""
        self.anchor: float | None = None
        """The level as it was learnt or calibrated, before it was tracked: what a slow drift is
        measured against."""
        self._off = self._gathered_s = 0.0
        """Of what was gathered since the level was refined: seconds times distance from it."""

    def hold(self, level: float, seconds: float = LEARN_S) -> None:
        """Take a level from elsewhere, as good as `seconds` of spraying would make it."""
        self.level, self.seconds = level, seconds
        self._off = self._gathered_s = 0.0
        self.anchor = level if seconds >= LEARN_S else None

    def arm(self, log_conductance: float, seconds: float) -> bool:
        """Take one of the first ticks in; return whether it armed the baseline."""
        self.seconds = known = self.seconds + seconds
        self.first.append(log_conductance)
        self.armed = known >= ARM_S
        if self.armed:
            # Start from the median, so that one burst of air in the first seconds does not shift
            # the level for the rest of the route.
            self.level = median(self.first)
        return self.armed

    def gather(self, residuals: Iterable[float], seconds: Iterable[float]) -> None:
        """Take in ticks in which all is healthy: their residuals against the level."""
        for residual, tick_s in zip(residuals, seconds, strict=True):
            self._off += residual * tick_s
            self._gathered_s += tick_s

    def refine(self) -> None:
        """Move the level by what was gathered."""
        gathered, self._gathered_s = self._gathered_s, 0.0
        off, self._off = self._off, 0.0
        if gathered > 0.0:
            self.seconds = known = min(self.seconds + gathered, TRACK_S)
            self.level += off / known
            if self.anchor is None and known >= LEARN_S:
                self.anchor = self.level
