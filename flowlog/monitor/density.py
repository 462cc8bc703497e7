"""Density of the residual's noise at low frequency: it decides how well a mean is known.

From differences between the means of successive blocks, so that it is blind to the level and to
slow drift. Five minutes of them give it to about 15 %; half a minute that is much rougher than
they are overrules them.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from math import fsum
from typing import Final

from flowlog.monitor.ticks import TICK_MS

NOISE_DENSITY_S = 4e-4
"""Noise of the residual before it is known, as a density at zero frequency in seconds: twice
the variance times the correlation time, for 1 % with a correlation time of 2 s. Flow and
pressure noise of this class of rig; assumed until `NoiseLevel` has measured it."""

TAU_S = 2.0
"""Correlation time that is assumed where only a variance is known."""

BLOCK_TICKS: Final = 5
"""What is said of the noise is worked out anew after so many ticks, and stays in between."""
_BLOCK_S = BLOCK_TICKS * TICK_MS * 1e-3
_RENEWED_BLOCKS: Final = 8
"""The density, of some minutes, is worked out every twenty seconds."""
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
_NOISE_FLOOR_S = 2e-4
_DENSITY_DOUBT = 1.2
"""The density is known to about 15 %, and a test's false alarms grow with the power of its
threshold: a density that is taken 15 % too small gives twelve times as many at 17 nats. With this
margin they stay below the promised number in seven cases of eight."""
_ROSE = 1.3
_ROSE_DOUBT = 1.45
"""Noise that has grown by a third since it was learnt may be growing still."""


class Density:
    """The running density, s: variance of a mean times the seconds that it is taken over."""

    def __init__(self) -> None:
        self.level_s = NOISE_DENSITY_S
        self.doubt = _DENSITY_DOUBT
        """What it may be in truth, over what it is taken to be."""
        self._prior_s = NOISE_DENSITY_S
        self._before: float | None = None
        """Mean of the block before."""
        self._squares: list[float] = []
        self._fresh = 0
        self._learnt_s: float | None = None

    def expect(self, level_s: float) -> None:
        """A first idea of it."""
        self._prior_s = self.level_s = level_s

    def restart(self) -> None:
        """The next block has no neighbour."""
        self._before = None

    def take(self, means: Iterable[float]) -> None:
        """Take in the means of blocks."""
        for mean in means:
            if self._before is not None:
                self._squares.append((mean - self._before) ** 2)
                self._fresh += 1
            self._before = mean

    @property
    def room(self) -> int:
        """How many blocks may be taken in until it is to be renewed."""
        return _RENEWED_BLOCKS - self._fresh + (self._before is None)

    def renew(self) -> bool:
        """Work it out anew if it is time to; return whether it was."""
        if self._fresh < _RENEWED_BLOCKS:
            return False
        self._fresh = 0
        del self._squares[: -_BLOCKS_KEPT - _BLOCKS_HELD_BACK]
        self.level_s = self._measured(self._squares[:-_BLOCKS_HELD_BACK])
        if self._learnt_s is not None:
            self.doubt = _ROSE_DOUBT if self.level_s > _ROSE * self._learnt_s else _DENSITY_DOUBT
        elif len(self._squares) >= _BLOCKS_KEPT:
            self._learnt_s = self.level_s
        return True

    def _measured(self, squares: list[float]) -> float:
        if not squares:
            return self._prior_s
        count = len(squares)
        # What was assumed fades as what is measured fills its five minutes.
        prior = _PRIOR_BLOCKS * (1.0 - count / _BLOCKS_KEPT)
        level = (prior * self._prior_s + count * _density_of(squares)) / (prior + count)
        if count >= _BLOCKS_SHORT:
            level = max(level, _density_of(squares[-_BLOCKS_SHORT:]) / _SHORT_MARGIN)
        return max(level, _NOISE_FLOOR_S)


def _density_of(squares: list[float]) -> float:
    """Noise density from squared differences of block means, cut against bursts."""
    ordered, count = sorted(squares), len(squares)
    median_square = (ordered[(count - 1) // 2] + ordered[count // 2]) / 2.0
    cut = _CUT * median_square
    within = bisect_right(ordered, cut)
    # `fsum` is exact, so the order does not matter.
    mean = fsum(ordered[:within] + [cut] * (count - within)) / count
    return mean / _CUT_MEAN * _BLOCK_S / _DIFFERENCE
