"""How much the residual moves while nothing is wrong: noise level, whitening, rough passes.

Three things are kept apart, since each is known from another part of the signal. The density at
low frequency decides how well a mean is known; it comes from differences of block means. The
variance of the news (what a tick brings beyond what the one before foretold) decides how much
one tick says; it is averaged over minutes. The roughness says how much wilder the present pass is
than those minutes, after a few ticks of it: rough ground shakes the hoses on one lawn and not on
the next.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from math import exp, fsum
from statistics import median

from flowlog.monitor.cusum import Innovation
from flowlog.monitor.ticks import TICK_MS

NOISE_DENSITY_S = 4e-4
"""Noise of the residual before it is known, as a density at zero frequency in seconds: twice
the variance times the correlation time, for 1 % with a correlation time of 2 s. Flow and
pressure noise of this class of rig; assumed until `NoiseLevel` has measured it."""

TAU_S = 2.0
"""Correlation time that is assumed where only a variance is known."""

_NOISE_FLOOR_S = 2e-4
_TICK_S = TICK_MS * 1e-3
_CLOCK_JITTER_S = 1e-3
DECAY = exp(-_TICK_S / TAU_S)
"""What a tick's residual keeps of the one before."""
_REST = 1.0 - DECAY

_NEWS_SHARE = 1.0 / 240.0
"""The variance of the news is averaged over two minutes."""
_NEWS_CUT = 9.0

_USUAL_STEP = 1.0 / 240.0
"""The usual square of the news follows its median, by this much of itself and tick: a pass of a
minute that is rough throughout moves it by a quarter."""
_FIRST_STEP = 1.0 / 60.0
_FIRST_TICKS = 600
"""Four times as quick in the first five minutes: what it begins with is the spread of 20 s."""
_MEDIAN = 0.455
"""Of the square of a normal variable over its variance."""
_PASS_PRIOR = 6.0
"""A pass is taken to be as the minutes before it with the weight of so many of its own ticks."""
_PASS_KEEP = 1.0 - 1.0 / 24.0
"""Ticks of the pass are forgotten over twelve seconds."""
_PASS_CUT = 9.0
_PASS_HELD_BACK = 9
_PASS_TOLD = 8.0
_ROUGHEST_KEEP = 0.95
"""The roughest pass of late fades over some twenty passes."""
_ROUGHEST_DOUBT = 0.4
"""The roughest of twenty quiet passes of half a minute seems so much rougher than they are."""
_PASS_DOUBT = 0.4
"""The spread of a quiet pass's roughness, from a dozen seconds: less than this means nothing."""
_SWIRL_SHARE = 0.04
"""Variance of the news over the density, for noise of `TAU_S` averaged over ticks: 0.260 of its
variance (from the covariances of such means, 0.921 and 0.783 of it), of which the meter's rotor
lets pass two thirds; the density is twice the correlation time times the variance."""
_DENSITY_DOUBT = 1.2
"""The density is known to about 15 %, and a test's false alarms grow with the power of its
threshold: a density that is taken 15 % too small gives twelve times as many at 17 nats. With this
margin they stay below the promised number in seven cases of eight."""
_ROSE = 1.3
_ROSE_DOUBT = 1.45
"""Noise that has grown by a third since it was learnt may be growing still."""
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
_UP, _DOWN = exp(_USUAL_STEP), exp(-_USUAL_STEP)
_UP_AT_FIRST, _DOWN_AT_FIRST = exp(_FIRST_STEP), exp(-_FIRST_STEP)


class NoiseLevel:
    """Running noise of the residual.

    The density is blind to the level and to slow drift. Five minutes of differences give it to
    about 15 %; half a minute that is much rougher than them overrules it.
    """

    def __init__(self) -> None:
        self._block_sum = 0.0
        self._block_s = 0.0
        self._before: float | None = None
        self._squares: list[float] = []
        self._prior_s = NOISE_DENSITY_S
        self.density_s = NOISE_DENSITY_S
        self._fresh = 0
        self._learnt_s: float | None = None
        self._doubt = _DENSITY_DOUBT
        self._residual: float | None = None
        self._news_variance = 0.0
        self.usual = _SWIRL_SHARE * NOISE_DENSITY_S
        """Variance of the news in usual passes."""
        self._up, self._down = _UP_AT_FIRST, _DOWN_AT_FIRST
        self._ticks = 0
        """Of all passes so far, counted when they are over."""
        self._usual_before = self.usual
        """At the end of the pass before."""
        self._pass_mean = 0.0
        self._pass_sum = 0.0
        self._pass_ticks = 0.0
        self._whole_sum = 0.0
        self._whole_ticks = 0.0
        """The same without forgetting: what is remembered of the pass when it is over."""
        self._roughest = 1.0
        self._may_be_rough = 1.0
        """A pass may be as rough as the roughest of late until its own ticks show otherwise."""
        self._held_back: deque[float] = deque()
        self.roughness = 1.0
        """Noise density of this pass over that of the minutes before; one at least."""

    @property
    def news_variance(self) -> float:
        """Variance of a usual tick's news while all is healthy."""
        rest = 1.0 - DECAY
        return max(rest * rest * self.density_s / _TICK_S, self._news_variance)

    def mean_variance(self, ticks: int) -> float:
        """Variance of the mean residual over `ticks` ticks in a row.

        That of a first-order autoregression of this density (summing its covariances), and what
        the news hold beyond it, which is white.
        """
        if ticks < 1:
            raise ValueError("no ticks, no mean")
        rest = 1.0 - DECAY
        variance = self.density_s / (2.0 * TAU_S)
        white = max(0.0, self._news_variance - variance * (1.0 - DECAY * DECAY))
        white /= 1.0 + DECAY * DECAY
        decayed = 1.0 - DECAY**ticks
        spread = (1.0 + DECAY) / rest / ticks - 2.0 * DECAY * decayed / (rest * ticks) ** 2
        return self.roughness * (variance * spread + white / ticks)

    def whiten(self, residual: float, seconds: float, level: float) -> Innovation | None:
        """What this tick brings beyond what the one before foretold; None after a break.

        `level` is where the residual is expected to lie: zero, or the shift of an open fault.
        """
        before, self._residual = self._residual, residual
        if before is None:
            return None
        decay, rest = DECAY, _REST
        if abs(seconds - _TICK_S) >= _CLOCK_JITTER_S:
            decay = exp(-seconds / TAU_S)
            rest = 1.0 - decay
        news = residual - decay * before
        # Whitened noise of this density has at least this variance; vanes and white noise of
        # the count add to it, which only the news themselves tell.
        floor = self._doubt * rest * rest * self.density_s / seconds
        variance = self._news_variance if self._news_variance > floor else floor
        unexpected = news - rest * level
        square, cut = unexpected**2, _NEWS_CUT * variance
        self._news_variance += _NEWS_SHARE * (
            (square if square < cut else cut) - self._news_variance
        )
        self._roughen(unexpected)
        found = (residual, news, rest, variance * self.roughness, seconds)
        return tuple.__new__(Innovation, found)

    def _roughen(self, news: float) -> None:
        """How wild is this pass? From the spread of its news about their own mean.

        The newest seconds are left out: a step would look like roughness just while it is
        looked for.
        """
        held_back = self._held_back
        held_back.append(news)
        usual = self.usual
        if len(held_back) > _PASS_HELD_BACK:
            away = held_back.popleft() - self._pass_mean
            square = away * away
            here = (_PASS_PRIOR * usual + self._pass_sum) / (_PASS_PRIOR + self._pass_ticks)
            cut = _PASS_CUT * here
            self._pass_ticks = ticks = _PASS_KEEP * self._pass_ticks + 1.0
            self._pass_sum *= _PASS_KEEP
            self._whole_ticks += 1.0
            if square < cut:
                self._pass_sum += square
                self._whole_sum += square
                self._pass_mean += away / (_PASS_PRIOR + ticks)
            else:
                self._pass_sum += cut
                self._whole_sum += cut
            usual *= self._up if square > _MEDIAN * usual else self._down
            self.usual = usual
        prior = _PASS_PRIOR * usual * self._may_be_rough
        here = (prior + self._pass_sum) / (_PASS_PRIOR + self._pass_ticks)
        # What is white in the usual news is no swirl, and does not grow with it.
        swirl = _SWIRL_SHARE * self.density_s
        swirl = usual if usual < swirl else swirl
        rough = (here - usual + swirl) / swirl - _PASS_DOUBT
        self.roughness = rough if rough > 1.0 else 1.0

    def expect(self, first: Sequence[float]) -> None:
        """A first idea from the ticks on which the baseline was armed, if they are rough."""
        middle = median(first)
        spread = median(abs(value - middle) for value in first) / 0.6745
        self._prior_s = self.density_s = max(NOISE_DENSITY_S, 2.0 * TAU_S * spread * spread)
        news = [after - DECAY * before for before, after in pairwise(first)]
        middle = median(news)
        self._news_variance = (median(abs(value - middle) for value in news) / 0.6745) ** 2
        self.usual = max(self._news_variance, _SWIRL_SHARE * NOISE_DENSITY_S)
        self._usual_before = self.usual

    def restart(self) -> None:
        """Spraying was interrupted: the next mean has no neighbour, the next pass no past."""
        self._block_sum = self._block_s = 0.0
        self._before = None
        self._residual = None
        self._held_back.clear()
        if self._whole_ticks >= _PASS_TOLD:
            # A rough pass has raised what is usual; at first that is not known well enough.
            usual = self._usual_before if self._ticks >= _FIRST_TICKS else self.usual
            self._remember(self._whole_sum / self._whole_ticks / usual)
        self._usual_before = self.usual
        self._ticks += int(self._whole_ticks)
        if self._ticks >= _FIRST_TICKS:
            self._up, self._down = _UP, _DOWN
        self._whole_sum = self._whole_ticks = 0.0
        self._pass_sum = self._pass_ticks = self._pass_mean = 0.0
        self.roughness = 1.0

    def stepped(self) -> None:
        """The level that is expected has changed: the newest news hold the step to it."""
        self._held_back.clear()

    def _remember(self, rough: float) -> None:
        """A pass is over: how rough it was bears on what the next ones may be."""
        self._roughest = max(rough, 1.0 + (self._roughest - 1.0) * _ROUGHEST_KEEP)
        self._may_be_rough = max(1.0, self._roughest - _ROUGHEST_DOUBT)

    def add(self, residual: float, seconds: float) -> None:
        """Take one tick into the density."""
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
                self._set_doubt()
        self._before = mean
        self._block_sum = self._block_s = 0.0

    def _set_doubt(self) -> None:
        if self._learnt_s is None:
            if len(self._squares) >= _BLOCKS_KEPT:
                self._learnt_s = self.density_s
            return
        rose = self.density_s > _ROSE * self._learnt_s
        self._doubt = _ROSE_DOUBT if rose else _DENSITY_DOUBT

    def _density(self, squares: list[float]) -> float:
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
