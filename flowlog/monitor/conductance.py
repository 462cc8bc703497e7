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
from itertools import pairwise
from math import exp, fsum, log
from statistics import median

from flowlog.monitor.cusum import Innovation
from flowlog.monitor.ticks import TICK_MS

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
_TICK_S = TICK_MS * 1e-3
_CLOCK_JITTER_S = 1e-3
_DECAY = exp(-_TICK_S / _TAU_S)
_NEWS_SHARE = 1.0 / 240.0
"""The variance of the news is averaged over two minutes."""
_NEWS_CUT = 9.0
_BLOCK_S = 2.5
_BLOCKS_KEPT = 120
_PRIOR_BLOCKS = 24
"""What is assumed counts like a minute of what is measured."""
_BLOCKS_SHORT = 12
_SHORT_MARGIN = 2.5
"""The mean of twelve squares exceeds this multiple of its expectation in one case of 500."""
_BLOCKS_HELD_BACK = 4
"""The newest ten seconds are left out: a difference that holds the step of a fault would raise
the noise and with it the threshold, just when the fault is to be found."""
_DIFFERENCE = 0.451
"""Variance of the difference between successive block means, as a multiple of density / block:
2 (v - c) with v = 1 - a (1 - e), c = a (1 - e)^2 / 2, a = tau / block, e = exp(-1 / a)."""
_CUT = 3.0 / 0.455
_CUT_MEAN = 0.857
"""Squares are cut at three times their variance, taken from their median (0.455 of it for a
normal variable), against bursts of air; what is left has this mean."""


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

    def hold(self, level: float) -> None:
        """Take a level from elsewhere and learn no more."""
        self._seconds = max(self._seconds, LEARN_S)
        self._sum = level * self._seconds

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
    """Running noise density of the residual, from differences of successive block means.

    A difference is blind to the level and to slow drift. Five minutes of differences give the
    level to about 15 %; half a minute that is much rougher than them (a rough patch of ground)
    overrules it.
    """

    def __init__(self) -> None:
        self._block_sum = 0.0
        self._block_s = 0.0
        self._before: float | None = None
        self._squares: list[float] = []
        self._prior_s = NOISE_DENSITY_S
        self.density_s = NOISE_DENSITY_S
        self._fresh = 0
        self._residual: float | None = None
        self._news_variance = 0.0

    def whiten(self, residual: float, seconds: float, level: float) -> Innovation | None:
        """What this tick brings beyond what the one before foretold; None after a break.

        `level` is where the residual is expected to lie: zero, or the shift of an open fault.
        """
        before, self._residual = self._residual, residual
        if before is None:
            return None
        usual = abs(seconds - _TICK_S) < _CLOCK_JITTER_S
        decay = _DECAY if usual else exp(-seconds / _TAU_S)
        rest = 1.0 - decay
        news = residual - decay * before
        # Whitened noise of this density has at least this variance; vanes and white noise of
        # the count add to it, which only the news themselves tell.
        floor = rest * rest * self.density_s / seconds
        variance = max(floor, self._news_variance)
        square = min((news - rest * level) ** 2, _NEWS_CUT * variance)
        self._news_variance += _NEWS_SHARE * (square - self._news_variance)
        return Innovation(residual, news, rest, variance, seconds)

    def expect(self, first: Sequence[float]) -> None:
        """A first idea from the ticks on which the baseline was armed, if they are rough."""
        middle = median(first)
        spread = median(abs(value - middle) for value in first) / 0.6745
        self._prior_s = self.density_s = max(NOISE_DENSITY_S, 2.0 * _TAU_S * spread * spread)
        news = [after - _DECAY * before for before, after in pairwise(first)]
        middle = median(news)
        self._news_variance = (median(abs(value - middle) for value in news) / 0.6745) ** 2

    def restart(self) -> None:
        """Spraying was interrupted: the next mean has no neighbour."""
        self._block_sum = self._block_s = 0.0
        self._before = None
        self._residual = None

    def add(self, residual: float, seconds: float) -> None:
        self._block_sum += residual * seconds
        self._block_s += seconds
        if self._block_s < _BLOCK_S - 1e-9:
            return
        mean = self._block_sum / self._block_s
        if self._before is not None:
            self._squares.append((mean - self._before) ** 2)
            del self._squares[: -_BLOCKS_KEPT - _BLOCKS_HELD_BACK]
            self._fresh += 1
            if self._fresh == _BLOCKS_HELD_BACK:
                self._fresh = 0
                self.density_s = self._density(self._squares[:-_BLOCKS_HELD_BACK])
        self._before = mean
        self._block_sum = self._block_s = 0.0

    def _density(self, squares: list[float]) -> float:
        if not squares:
            return self._prior_s
        count = len(squares)
        level = _PRIOR_BLOCKS * self._prior_s + count * _density_of(squares)
        level /= _PRIOR_BLOCKS + count
        if count >= _BLOCKS_SHORT:
            level = max(level, _density_of(squares[-_BLOCKS_SHORT:]) / _SHORT_MARGIN)
        return max(level, _NOISE_FLOOR_S)


def _density_of(squares: list[float]) -> float:
    """Noise density from squared differences of block means, cut against bursts."""
    cut = _CUT * median(squares)
    mean = fsum(min(square, cut) for square in squares) / len(squares)
    return mean / _CUT_MEAN * _BLOCK_S / _DIFFERENCE
