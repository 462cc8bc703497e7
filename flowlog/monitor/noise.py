"""How much the residual moves while nothing is wrong: noise level, whitening, rough passes.

Three things are kept apart, since each is known from another part of the signal. The density at
low frequency decides how well a mean is known (`flowlog.monitor.density`). The variance of the
news (what a tick brings beyond what the one before foretold) decides how much one tick says; it is
averaged over minutes. The roughness says how much wilder the present pass is than those minutes,
after a few ticks of it: rough ground shakes the hoses on one lawn and not on the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import exp
from statistics import median
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.cusum import Innovation, Innovations
from flowlog.monitor.density import BLOCK_TICKS, NOISE_DENSITY_S, TAU_S, Density
from flowlog.monitor.ticks import TICK_MS

_TICK_S = TICK_MS * 1e-3
_CLOCK_JITTER_S = 1e-3
DECAY = exp(-_TICK_S / TAU_S)
"""What a tick's residual keeps of the one before."""
_REST = 1.0 - DECAY

_NEWS_SHARE = 1.0 / 240.0
"""The variance of the news is averaged over two minutes, by so much a tick."""
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
_PASS_HELD_BACK = 5
"""Ticks, and up to a block more."""
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


def _decay_over(seconds: float) -> tuple[float, float]:
    decay = exp(-seconds / TAU_S)
    return decay, 1.0 - decay


def is_whole(seconds: float) -> bool:
    """Is a tick as long as ticks are, but for the jitter of the board's clock?"""
    return abs(seconds - _TICK_S) < _CLOCK_JITTER_S


def are_whole(seconds: NDArray[np.float64]) -> NDArray[np.bool_]:
    """`is_whole` for many ticks, shape (n,)."""
    whole: NDArray[np.bool_] = np.abs(seconds - _TICK_S) < _CLOCK_JITTER_S
    return whole


class _Heard(NamedTuple):
    """What is known after a tick; of the pass that is running, unless it says otherwise."""

    residual: float | None
    """Of the last tick; None after a break."""
    residuals: list[float]
    news: list[float]
    """Of the block that is not full yet."""
    held_back: list[float]
    """The newest news of full blocks."""
    news_variance: float
    """Averaged over minutes."""
    usual: float
    """Variance of the news in usual passes."""
    mean: float = 0.0
    sum: float = 0.0
    ticks: float = 0.0
    """Of the news, and of their squares; older ones are forgotten."""
    whole_sum: float = 0.0
    whole_ticks: int = 0
    """The same without forgetting: what is remembered of the pass when it is over."""
    roughness: float = 1.0


class NoiseLevel:
    """Running noise of the residual."""

    def __init__(self) -> None:
        self._heard = _Heard(None, [], [], [], 0.0, _SWIRL_SHARE * NOISE_DENSITY_S)
        self._next: tuple[_Heard, list[float]] = (self._heard, [])
        """Of the last `look`: what is known behind it, and means of the blocks that it filled."""
        self._density = Density()
        self._step = _FIRST_STEP
        self._ticks = 0
        """Of all passes so far, counted when they are over."""
        self._usual_before = self.usual
        """At the end of the pass before."""
        self._roughest = 1.0
        self._may_be_rough = 1.0
        """A pass may be as rough as the roughest of late until its own ticks show otherwise."""

    @property
    def density_s(self) -> float:
        """Density of the noise at zero frequency, s; see `flowlog.monitor.density`."""
        return self._density.level_s

    @property
    def usual(self) -> float:
        """Variance of the news in usual passes."""
        return self._heard.usual

    @property
    def roughness(self) -> float:
        """Noise density of this pass over that of the minutes before; one at least."""
        return self._heard.roughness

    @property
    def news_variance(self) -> float:
        """Variance of a usual tick's news while all is healthy."""
        rest = 1.0 - DECAY
        return max(rest * rest * self.density_s / _TICK_S, self._heard.news_variance)

    def mean_variance(self, ticks: int) -> float:
        """Variance of the mean residual over `ticks` ticks in a row.

        That of a first-order autoregression of this density (summing its covariances), and what
        the news hold beyond it, which is white.
        """
        if ticks < 1:
            raise ValueError("no ticks, no mean")
        rest = 1.0 - DECAY
        variance = self.density_s / (2.0 * TAU_S)
        white = max(0.0, self._heard.news_variance - variance * (1.0 - DECAY * DECAY))
        white /= 1.0 + DECAY * DECAY
        decayed = 1.0 - DECAY**ticks
        spread = (1.0 + DECAY) / rest / ticks - 2.0 * DECAY * decayed / (rest * ticks) ** 2
        return self.roughness * (variance * spread + white / ticks)

    def whiten(self, residual: float, seconds: float, level: float) -> Innovation | None:
        """What this tick brings beyond what the one before foretold; None after a break.

        `level` is where the residual is expected to lie: zero, or the shift of an open fault.
        """
        if self._heard.residual is None:
            kept = [*self._heard.residuals, residual]
            self._heard = self._heard._replace(residual=residual, residuals=kept)
            return None
        length = None if is_whole(seconds) else seconds
        ticks, _usual = self.look([residual], [seconds], level, length)
        self.go_on()
        return Innovation(residual, ticks.news[0], ticks.rest, ticks.variance[0], seconds)

    @property
    def begun(self) -> bool:
        """Is there a tick before, from which the next can be foretold?"""
        return self._heard.residual is not None

    def look(
        self,
        residuals: list[float],
        seconds: Sequence[float],
        level: float,
        length: float | None = None,
    ) -> tuple[Innovations, list[float]]:
        """What each of many ticks brings beyond what the one before foretold.

        Nothing changes before `go_on`.

        Args:
            residuals: Of ticks that follow the last one without a break.
            seconds: How long they are.
            level: Where the residuals are expected to lie.
            length: Of all of them in seconds, if they are not whole ticks.

        Returns:
            The innovations, and the variance of the news in usual passes as it is known after each.
        """
        heard = self._heard
        assert heard.residual is not None
        decay, rest = (DECAY, _REST) if length is None else _decay_over(length)
        lasting = rest * level
        # Whitened noise of this density has at least this variance; vanes and white noise of
        # the count add to it, which only the news themselves tell.
        floor = self._density.doubt * rest * rest * self.density_s / (length or _TICK_S)
        before = [heard.residual, *residuals[:-1]]
        news = [value - decay * last for value, last in zip(residuals, before, strict=True)]
        unexpected = [value - lasting for value in news] if lasting else news
        variances: list[float] = []
        usuals: list[float] = []
        means: list[float] = []
        n = len(residuals)
        filled = -len(heard.residuals)
        while filled + BLOCK_TICKS <= n:
            begin, filled = max(filled, 0), filled + BLOCK_TICKS
            count = filled - begin
            variances += [max(heard.news_variance, floor) * heard.roughness] * count
            usuals += [heard.usual] * (count - 1)
            means.append(sum(heard.residuals + residuals[begin:filled]) / BLOCK_TICKS)
            heard = self._after_block(heard, heard.news + unexpected[begin:filled], floor)
            usuals.append(heard.usual)
        begin = max(filled, 0)
        variances += [max(heard.news_variance, floor) * heard.roughness] * (n - begin)
        usuals += [heard.usual] * (n - begin)
        after = heard._replace(
            residual=residuals[-1],
            residuals=heard.residuals + residuals[begin:],
            news=heard.news + unexpected[begin:],
        )
        self._next = after, means
        return Innovations(residuals, news, rest, variances, seconds), usuals

    def go_on(self) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        self._heard, means = self._next
        self._density.take(means)

    def _after_block(self, heard: _Heard, news: list[float], floor: float) -> _Heard:
        """A block is full: how wild is this pass? From the spread of its news about their own mean.

        The newest seconds are left out: a step would look like roughness just while it is
        looked for.
        """
        variance, usual, mean = heard.news_variance, heard.usual, heard.mean
        cut = _NEWS_CUT * (variance if variance > floor else floor)
        found = 0.0
        for value in news:
            square = value * value
            found += square if square < cut else cut
        variance += _NEWS_SHARE * (found - len(news) * variance)

        kept = heard.held_back + news
        known, kept = kept[:-_PASS_HELD_BACK], kept[-_PASS_HELD_BACK:]
        count = len(known)
        cut = _PASS_CUT * (_PASS_PRIOR * usual + heard.sum) / (_PASS_PRIOR + heard.ticks)
        middle = _MEDIAN * usual
        found = moved = 0.0
        above = -count
        for value in known:
            away = value - mean
            square = away * away
            if square > middle:
                above += 2
            if square < cut:
                found += square
                moved += away
            else:
                found += cut
        left = _PASS_KEEP**count
        ticks = left * heard.ticks + count
        total = left * heard.sum + found
        usual *= exp(self._step * above)

        return _Heard(
            heard.residual, [], [], kept, variance, usual,
            mean + moved / (_PASS_PRIOR + ticks), total, ticks,
            heard.whole_sum + found, heard.whole_ticks + count,
            self._roughness(usual, total, ticks),
        )  # fmt: skip

    def _roughness(self, usual: float, total: float, ticks: float) -> float:
        here = (_PASS_PRIOR * usual * self._may_be_rough + total) / (_PASS_PRIOR + ticks)
        # What is white in the usual news is no swirl, and does not grow with it.
        swirl = _SWIRL_SHARE * self.density_s
        swirl = usual if usual < swirl else swirl
        rough = (here - usual + swirl) / swirl - _PASS_DOUBT
        return rough if rough > 1.0 else 1.0

    def expect(self, first: Sequence[float]) -> None:
        """A first idea from the ticks on which the baseline was armed, if they are rough."""
        middle = median(first)
        spread = median(abs(value - middle) for value in first) / 0.6745
        self._density.expect(max(NOISE_DENSITY_S, 2.0 * TAU_S * spread * spread))
        news = [after - DECAY * before for before, after in pairwise(first)]
        middle = median(news)
        variance = (median(abs(value - middle) for value in news) / 0.6745) ** 2
        usual = max(variance, _SWIRL_SHARE * NOISE_DENSITY_S)
        self._heard = self._heard._replace(news_variance=variance, usual=usual)
        self._usual_before = usual

    def restart(self) -> None:
        """Spraying was interrupted: the next mean has no neighbour, the next pass no past."""
        self._density.restart()
        over, usual = self._heard, self.usual
        if over.whole_ticks >= _PASS_TOLD:
            # A rough pass has raised what is usual; at first that is not known well enough.
            known = self._usual_before if self._ticks >= _FIRST_TICKS else usual
            self._remember(over.whole_sum / over.whole_ticks / known)
        self._usual_before = usual
        self._ticks += over.whole_ticks
        if self._ticks >= _FIRST_TICKS:
            self._step = _USUAL_STEP
        fresh = _Heard(None, [], [], [], over.news_variance, usual)
        self._heard = fresh._replace(roughness=self._roughness(usual, 0.0, 0.0))

    def stepped(self) -> None:
        """The level that is expected has changed: the newest news hold the step to it."""
        self._heard = self._heard._replace(news=[], held_back=[])

    def _remember(self, rough: float) -> None:
        """A pass is over: how rough it was bears on what the next ones may be."""
        self._roughest = max(rough, 1.0 + (self._roughest - 1.0) * _ROUGHEST_KEEP)
        self._may_be_rough = max(1.0, self._roughest - _ROUGHEST_DOUBT)

    @property
    def room(self) -> int:
        """How many ticks may be looked at until the density is to be renewed."""
        return BLOCK_TICKS * self._density.room - len(self._heard.residuals)

    def renew(self) -> bool:
        """Work out the density anew if it is time to; return whether it was."""
        return self._density.renew()
