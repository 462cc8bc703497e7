"""The boom's conductance against its healthy baseline: the statistic that finds clogged tips.

Conductance is flow per square root of pressure, at the sensors. It depends only on what lies
behind them (tips, strainers at the tips, leaks, the liquid's density) and is blind to pump and
regulator: one blocked tip of N takes 1/N from it whatever feeds the boom.

The baseline is learnt from the first minutes of settled spraying and then kept. It is learnt,
not computed from the rig file, because meter, gauge and tips are each off by more than one
clogged tip of twelve takes away.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log
from statistics import median

_METER_LAG_S = 0.2
"""First-order lag of a small turbine (0.15 to 0.25 s); the pressure is delayed alike, so that a
change of pressure does not look like a change of conductance."""

ARM_S = 20.0
"""Settled spraying before the first judgement. Over 20 s the level is known to 0.45 % at the
noise of `NOISE_DENSITY_S`, a tenth of half a tip of twelve."""

LEARN_S = 300.0
"""Settled spraying over which the level is refined: 300 s give it to 0.1 %."""

NOISE_DENSITY_S = 4e-4
"""Noise of the residual before it is known, as a density at zero frequency in seconds: twice
the variance times the correlation time, for 1 % with a correlation time of 2 s. Flow and
pressure noise of this class of rig; assumed until `NoiseLevel` has measured it."""

_NOISE_FLOOR_S = 2e-4
_TAU_S = 2.0
"""Correlation time that is assumed where only a variance is known."""
_BLOCK_S = 5.0
_BLOCKS_KEPT = 60
_PRIOR_BLOCKS = 12
"""What is assumed counts like a minute of what is measured."""
_BLOCKS_SHORT = 6
_SHORT_MARGIN = 3.0
"""The median of six squares exceeds three times its expectation in one case of fifty."""
_BLOCKS_HELD_BACK = 2
"""The newest differences are left out: one that holds the step of a fault would raise the noise
and with it the threshold, just when the fault is to be found."""


class Residual:
    """ln(Q / P^n), with the pressure delayed as the meter delays the flow."""

    def __init__(self, exponent: float = 0.5) -> None:
        self._exponent = exponent
        self._delayed: float | None = None

    def restart(self) -> None:
        self._delayed = None

    def step(self, seconds: float, flow_m3_s: float, pressure_pa: float) -> float | None:
        """Log conductance for one tick, or None where there is none."""
        if pressure_pa <= 0.0:
            self._delayed = None
            return None
        root = pressure_pa**self._exponent
        if self._delayed is None:
            self._delayed = root
        else:
            # Mean over the tick of a first-order lag whose input steps at its start.
            share = seconds / _METER_LAG_S
            decay = exp(-share)
            before = self._delayed
            self._delayed = root + (before - root) * decay
            root = root + (before - root) * (1.0 - decay) / share
        if flow_m3_s <= 0.0:
            return None
        return log(flow_m3_s / root)


class Baseline:
    """Healthy level of the log conductance, learnt from settled spraying."""

    def __init__(self) -> None:
        self._sum = 0.0
        self._seconds = 0.0
        self._first: list[float] = []
        self._armed = False

    @property
    def seconds(self) -> float:
        """Settled spraying that the level rests on."""
        return self._seconds

    @property
    def armed(self) -> bool:
        return self._armed

    @property
    def learning(self) -> bool:
        return self._seconds < LEARN_S

    @property
    def level(self) -> float:
        """Mean log conductance so far, Q in m3/s and P in Pa."""
        return self._sum / self._seconds

    @property
    def first(self) -> list[float]:
        """What it was armed on."""
        return self._first

    def add(self, log_conductance: float, seconds: float) -> bool:
        """Take one tick in; return whether it armed the baseline."""
        self._sum += log_conductance * seconds
        self._seconds += seconds
        if self._armed:
            return False
        self._first.append(log_conductance)
        self._armed = self._seconds >= ARM_S
        if not self._armed:
            return False
        # Start from the median, so that one burst of air in the first seconds does not shift
        # the level for the rest of the route.
        self._sum = median(self._first) * self._seconds
        return True


class NoiseLevel:
    """Running noise density of the residual, from differences between successive 5 s means.

    A difference is blind to the level and to slow drift, and a median of differences is blind to
    a few bursts. For noise with a correlation time of 2 s the variance of such a difference is
    0.93 times the density over the block's length (worked out from its autocovariance), and the
    median of a squared normal is 0.455 of its variance. Five minutes of differences give the
    level; half a minute that is much rougher than them (a rough patch of ground) overrules it.
    """

    def __init__(self) -> None:
        self._block_sum = 0.0
        self._block_s = 0.0
        self._before: float | None = None
        self._squares: list[float] = []
        self._prior_s = NOISE_DENSITY_S
        self.density_s = NOISE_DENSITY_S

    def expect(self, first: Sequence[float]) -> None:
        """A first idea from the ticks on which the baseline was armed, if they are rough."""
        middle = median(first)
        spread = median(abs(value - middle) for value in first) / 0.6745
        self._prior_s = self.density_s = max(NOISE_DENSITY_S, 2.0 * _TAU_S * spread * spread)

    def restart(self) -> None:
        """Spraying was interrupted: the next mean has no neighbour."""
        self._block_sum = self._block_s = 0.0
        self._before = None

    def add(self, residual: float, seconds: float) -> None:
        self._block_sum += residual * seconds
        self._block_s += seconds
        if self._block_s < _BLOCK_S - 1e-9:
            return
        mean = self._block_sum / self._block_s
        if self._before is not None:
            self._squares.append((mean - self._before) ** 2)
            del self._squares[: -_BLOCKS_KEPT - _BLOCKS_HELD_BACK]
            self.density_s = self._density(self._squares[:-_BLOCKS_HELD_BACK])
        self._before = mean
        self._block_sum = self._block_s = 0.0

    def _density(self, squares: list[float]) -> float:
        if not squares:
            return self._prior_s
        scale = _BLOCK_S / (0.455 * 0.93)
        count = len(squares)
        measured = median(squares) * scale
        level = (_PRIOR_BLOCKS * self._prior_s + count * measured) / (_PRIOR_BLOCKS + count)
        if count >= _BLOCKS_SHORT:
            level = max(level, median(squares[-_BLOCKS_SHORT:]) * scale / _SHORT_MARGIN)
        return max(level, _NOISE_FLOOR_S)
