"""The newest ticks of settled spraying, and what they show of a shift that began among them."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from math import sqrt
from statistics import variance
from typing import NamedTuple

from flowlog.monitor.close_up import CloseUp
from flowlog.monitor.closer import Closer
from flowlog.monitor.conductance import Baseline
from flowlog.monitor.diagnosis import Roughness, Signs
from flowlog.monitor.gas import gulps
from flowlog.monitor.noise import NoiseLevel
from flowlog.monitor.outputs import Position
from flowlog.monitor.supply import Answers, SupplyPoint
from flowlog.monitor.ticks import TICK_MS, rows_of

_KEPT = 240
"""Ticks kept: two minutes, the longest that a small shift takes to be believed."""
_PAUSE_KNOWN = 360
"""A pause counts for three minutes of spraying: the smallest change of a mix takes so long."""
_OPENING_S = 6.0
"""An onset is estimated to a few seconds: one so soon after the boom opened came with it."""
_ROUGH_AFTER = 3
_ROUGH_TICKS = 3
"""The step of the onset itself looks rough for three ticks; fewer than four say nothing, and one of
them goes into their mean."""


class RecentTick(NamedTuple):
    """One judged tick."""

    at: Position
    residual: float
    news: float | None
    usual: float
    """Variance of the news in usual passes, as it was known then."""


class RecentTicks:
    """Two minutes of judged ticks; knows how long ago the tank may have been filled."""

    def __init__(
        self,
        tips: int,
        answers: Answers,
        noise: NoiseLevel,
        supply: SupplyPoint,
        baseline: Baseline,
        closer: Closer,
    ) -> None:
        self._tips = tips
        self._answers = answers
        self._noise = noise
        self._supply = supply
        self._baseline = baseline
        self._closer = closer
        self._ticks: deque[RecentTick] = deque(maxlen=_KEPT)
        self.ticks_since_pause = 0
        """Of settled spraying, since the last pause in which the tank may have been filled."""

    def __len__(self) -> int:
        return len(self._ticks)

    def add(self, at: Position, residual: float, news: float | None) -> None:
        """Take one tick in."""
        self._ticks.append(RecentTick(at, residual, news, self._noise.usual))

    def extend(
        self,
        at: Sequence[Position],
        residuals: Sequence[float],
        news: Sequence[float],
        usual: Sequence[float],
    ) -> None:
        """Take many ticks in; `usual` as it was known after each."""
        self._ticks.extend(rows_of(RecentTick, (at, residuals, news, usual)))

    def newest(self, count: int) -> list[RecentTick]:
        """The newest ticks, one at least, as far as they are kept."""
        return list(self._ticks)[-max(1, count) :]

    def sd_with_baseline(self, sd: float) -> float:
        """Standard uncertainty of a shift, its own and that of the baseline together."""
        return sqrt(sd * sd + self._noise.density_s / self._baseline.seconds)

    def close_up(self, shift: float, count: int, was: float = 0.0) -> CloseUp | None:
        """A closer look at an onset that lies across the tick `count` ticks ago.

        Args:
            shift: That came with it.
            count: At least 1.
            was: The shift before it.
        """
        settled = [tick.at for tick in self._ticks]
        return self._closer.look(settled, self._baseline.level + was, (count - 0.5) * 0.5, shift)

    def began(self, close: CloseUp) -> Position:
        """The sample of an onset."""
        return self._closer.position(self._ticks[-1].at, close.ago_s)

    def confirms(self, shift: float, seconds: float) -> bool:
        """Did the pressure move against a shift of the boom that began `seconds` ago?"""
        close = self.close_up(shift, max(1, round(2.0 * seconds)))
        if close is None:
            return self._supply.confirms(shift, seconds)
        return close.answer.confirms(shift, self._answers)

    def signs(
        self,
        level: float,
        sd: float,
        onsets: Sequence[int],
        close: CloseUp | None,
        *,
        after_pause: bool,
    ) -> Signs:
        """What is known of a shift.

        Args:
            level: Of the log conductance, since the last of the onsets.
            sd: Standard uncertainty of it.
            onsets: How many ticks ago it began, and grew each time.
            close: The closer look at the last of them, if one could be had.
            after_pause: It came with the first spraying after a pause.
        """
        ratio, ticks = self._roughness(onsets)
        # Gas reads high.
        nats = self._gulps(onsets, close, level) if level > 0.0 else None
        return Signs(
            tips=self._tips,
            shift=level,
            shift_sd=self.sd_with_baseline(sd),
            answer=close.answer if close is not None else self._supply.answer(max(2, onsets[-1])),
            roughness=Roughness(ratio, ticks, nats),
            after_pause=after_pause,
            answers=self._answers,
        )

    def _roughness(self, onsets: Sequence[int]) -> tuple[float | None, int]:
        """Variance of the news since the first onset over the usual one, and from how many.

        About their mean between one onset and the next, the ticks of each step left out.
        """
        since = self.newest(onsets[0])
        n = len(since)
        # Gas that comes and goes for minutes would pass for usual.
        usual = min(since[0].usual, self._noise.usual)
        squares, ticks = 0.0, 0
        for begin, end in pairwise([*(max(0, n - onset) for onset in onsets), n]):
            piece = since[begin + _ROUGH_AFTER : end]
            news = [tick.news for tick in piece if tick.news is not None]
            if len(news) > 1:
                squares += variance(news) * (len(news) - 1)
                ticks += len(news) - 1
        return (squares / ticks / usual if ticks >= _ROUGH_TICKS else None), ticks

    def _gulps(self, onsets: Sequence[int], close: CloseUp | None, level: float) -> float | None:
        """Log likelihood that gulps of gas make the samples wander since the first onset.

        None where the onset lies outside the present pass: on the next one the ground is another.
        """
        newest = self._ticks[-1].at
        if close is None:
            return None
        came_s = []
        for onset in onsets:
            # It lies across that tick.
            tick = self._ticks[-min(onset, len(self._ticks))].at
            if tick.segment != newest.segment:
                return None
            came_s.append((tick.t_us - newest.t_us) * 1e-6)
        tick_s = TICK_MS * 1e-3
        ends_s = [*(came - tick_s for came in came_s[1:]), 0.0]
        came_s[-1] = close.over_s - close.ago_s
        settled = [tick.at for tick in self._ticks]
        # At whatever level: of that gulps are told apart anyway.
        series = self._closer.series(settled, self._baseline.level)
        if series is None:
            return None
        pieces = list(zip(came_s, ends_s, strict=True))
        return gulps(series, pieces, level, self._noise.density_s)

    def came_with_the_pause(self, level: float, sd: float, count: int) -> bool:
        """Was a shift there from the first spraying after a pause on, as far as can be seen?

        Likelier than a shift that came later: the spraying between the pause and the estimated
        onset lies nearer to the level since than to the healthy one, each in its own spread.
        """
        before = self.ticks_since_pause - count
        if before > _PAUSE_KNOWN - count:
            return False
        # What is no longer kept is taken to have been as the rest.
        before = min(before, len(self._ticks) - count)
        if before * 0.5 < _OPENING_S:
            return True
        between = list(self._ticks)[-count - before : -count]
        mean = sum(tick.residual for tick in between) / before
        spread = self.sd_with_baseline(sqrt(self._noise.mean_variance(before)))
        return abs(level - mean) / sqrt(spread**2 + sd**2) < abs(mean) / spread
