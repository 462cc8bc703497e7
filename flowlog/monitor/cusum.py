"""Sequential tests: has the residual's mean moved by a given shift, and when?"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import erf, exp, floor, log, pi, sqrt
from typing import NamedTuple

from flowlog.monitor.ticks import TICK_MS

_TICK_S = TICK_MS * 1e-3
_BURST_TICKS = 1.2 / _TICK_S
_BURST_LOG = -log(0.7)
_NO_BURST = 1.1 * _BURST_LOG
"""A burst of air through the meter lasts up to 1.2 s and moves it by up to 30 % (measured on none
of our own rigs: the assumption that the tests are built for)."""


_ONSETS = 3
"""A test takes the best of three: at once, within one tick and the next, or creeping. To chance it
is three tests."""

Answer = Callable[[float, float], bool]


def ticks_to_agree(size: float) -> int:
    """How many ticks must lie beyond half of a shift before it is believed.

    One more than a burst of air can push there: it covers some ticks whole and its two ends each
    a part of one, and a part counts once it is half of the shift over the burst's own.
    """
    part = min(1.0, 0.5 * size / _BURST_LOG)
    return floor(_BURST_TICKS + 2.0 - 2.0 * part) + 1


WINDOW = ticks_to_agree(0.0) + 1
"""How many of the newest residuals a test looks at, at most. One tick may fall out of line, by a
knock or a lost line."""

_CAP_NATS = 12.0
"""No single tick adds more than this: two ticks at least must speak for a shift."""

_SURE_TICKS = 2
"""How many are enough where no burst of air can be what is seen, because it is larger than any."""

_ANSWERED_TICKS = 1
"""And where the pressure answered as it does to a boom that passes less."""

_FREEDOM = 8.0
"""Degrees of freedom of the news. Student's t with few of them has the tails of real flow: a tick
that is far out says little about a small shift, so that a burst of air leaves no suspicion behind
that noise could build on. Near its middle it is as sharp as a normal one."""
_HALF = 0.5 * (_FREEDOM + 1.0)
_SCALE = _FREEDOM - 2.0
"""Scale that gives it the measured variance, times its degrees of freedom."""

_CLEAR_OF = 10.0
"""An error b of the level multiplies the false alarms of a test for shift d at threshold h by
exp(2 b h / d): by 30 for b = d / 10 and h = 17, for the minute or so until the level is better."""

QUIET_NATS = 3.0
"""A test below this is under no suspicion."""

_NEW_DENSITY = 0.03
"""A density that moved by less leaves the thresholds, which follow its logarithm."""

_STEEPNESS = 1.08
"""Were the density of the sums that of the noise, false alarms would fall as e^-h. For normal noise
and Student's density with eight degrees of freedom it is e^-0.90 h (the root of E[e^(x z)] = 1, by
quadrature, for shifts of 0.2 to 0.75 spreads), and the variance is taken a fifth too large."""
_DENSITY_U = 0.12
"""By so much a density may be off beyond the margin that is taken with it (`density`)."""
_MEMORY_S = 8.0
"""Four times what the noise remembers (`density.TAU_S`): over so long a mean is known as well as
its density is."""

_LEAST_NATS = 5.0
"""The law for the threshold holds for large ones only; below this a shift that the noise has
drowned would be announced on nothing."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """A test that crossed its threshold."""

    shift: float
    """The shift that was looked for, in log conductance."""
    seconds: float
    """Time since the estimated onset."""
    evidence: float
    """Log likelihood ratio, in nats."""
    threshold: float
    """What it had to cross."""


class Innovation(NamedTuple):
    """One tick's residual, and what of it the tick before did not foretell."""

    residual: float
    news: float
    """Residual minus `decay` times the residual before: white for correlated noise."""
    rest: float
    """1 - decay: what is left of a lasting shift in `news` after its first tick."""
    variance: float
    """Of `news` while all is healthy."""
    seconds: float


class Innovations(NamedTuple):
    """`Innovation` of many ticks that follow one another, as columns of one length."""

    residual: list[float]
    news: list[float]
    rest: float
    """The same for all of them."""
    variance: list[float]
    seconds: Sequence[float]

    @staticmethod
    def of(tick: Innovation) -> Innovations:
        """Of one tick."""
        residual, news, rest, variance, seconds = tick
        return Innovations([residual], [news], rest, [variance], [seconds])


class ShiftTest:
    """One-sided CUSUM for one shift of the mean, in noise that is correlated over seconds.

    The noise is whitened first: a lasting shift d leaves d in the news of its first tick and
    (1 - decay) d in those that follow. News e under a shift s of its mean add ln(f(e - s) / f(e))
    to the log likelihood ratio, f being Student's density; the sum never falls below zero, and its
    last zero is the maximum likelihood estimate of the onset (Page's test). A shift may come at
    once, within one tick or across two, or creep in: a sum that starts anew takes whichever of
    these explains the tick better.
    """

    def __init__(self, shift: float) -> None:
        self.shift = shift
        self.sign = 1.0 if shift > 0 else -1.0
        self._size = abs(shift)
        self.half = 0.5 * self._size
        self.sum = 0.0
        self.seconds = 0.0
        self._young = False
        """The sum began in the tick before."""
        self._next = (0.0, 0.0, False)
        self._agree = ticks_to_agree(self._size)
        self.since = 0
        """The last tick of its bank that it did not look at."""

    def reset(self) -> None:
        self.sum = 0.0
        self.seconds = 0.0

    def step(self, tick: Innovation) -> None:
        """Take one tick in."""
        self.look(Innovations.of(tick))
        self.go_on()

    def look(self, ticks: Innovations) -> list[float]:
        """The sum after each of many ticks; nothing changes before `go_on`."""
        residuals, all_news, rest, variances, all_seconds = ticks
        sign, size, half = self.sign, self._size, self.half
        lasting = size * rest
        total, seconds, young = self.sum, self.seconds, self._young
        sums = []
        for i, rise in enumerate(all_news):
            news = sign * rise
            shift = lasting
            if total == 0.0:
                if news <= 0.5 * lasting:
                    # A shift that came at once would have to bring more news than a lasting one.
                    sums.append(0.0)
                    continue
                young = True
                if residuals[i] * sign > half:
                    # The end of a burst to the other side brings as much news, but ends at zero.
                    shift = size if news > 0.75 * size else max(lasting, half)
            elif young:
                young = False
                # The tick of the onset held a part of the shift: the rest of it is still to come.
                foretold = sign * residuals[i] - news
                left = size - foretold if foretold > 0.0 else size
                if news > 0.5 * (lasting + left):
                    shift = max(lasting, left)
            scale = _SCALE * variances[i]
            away = news - shift
            nats = _HALF * log((scale + news * news) / (scale + away * away))
            total += nats if nats < _CAP_NATS else _CAP_NATS
            if total > 0.0:
                seconds += all_seconds[i]
            else:
                total = seconds = 0.0
            sums.append(total)
        self._next = (total, seconds, young)
        return sums

    def go_on(self) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        self.sum, self.seconds, self._young = self._next

    def crossed(
        self, threshold: float, newest: Sequence[float], answers: Answer | None = None
    ) -> bool:
        """Is the shift to be believed?

        Args:
            threshold: In nats.
            newest: Residuals since the test was reset, newest last; the last `WINDOW` do.
            answers: Says whether the pressure answered to a shift of this size that began so many
                seconds ago.
        """
        if self.sum <= threshold:
            return False
        newest = newest[-self._agree - 1 :]
        beyond = sum(residual * self.sign > self.half for residual in newest)
        if beyond >= self._agree:
            return True
        if beyond < _ANSWERED_TICKS:
            return False
        largest = sum(residual * self.sign > _NO_BURST for residual in newest)
        if largest >= _SURE_TICKS:
            return True
        return answers is not None and answers(self.shift, self.seconds)


def _overshoot(step: float) -> float:
    """Mean of e^-(what a sum of steps lies beyond its threshold); in spreads of the noise."""
    half = 0.5 * step
    below = 0.5 * (1.0 + erf(half / sqrt(2.0)))
    density = exp(-0.5 * half * half) / sqrt(2.0 * pi)
    return (below - 0.5) / half / (half * below + density)


def look_all(tests: Iterable[ShiftTest], ticks: Innovations) -> tuple[list[ShiftTest], list[float]]:
    """Look at many ticks with several tests.

    Returns:
        The tests that these move (the others stay at zero), and the largest of all sums after each
        tick.
    """
    rest = ticks.rest
    highest, lowest = max(ticks.news), min(ticks.news)
    loudest = [0.0] * len(ticks.news)
    moved: list[ShiftTest] = []
    for test in tests:
        most = highest if test.sign > 0.0 else -lowest
        if test.sum > 0.0 or most > test.half * rest:
            sums = test.look(ticks)
            loudest = list(map(max, loudest, sums)) if moved else sums
            moved.append(test)
    return moved, loudest


class Bank:
    """Tests for several shifts at once, with one promised rate of false alarms."""

    def __init__(self, shifts: Sequence[float], false_alarms_per_100_h: float) -> None:
        self._tests = [ShiftTest(shift) for shift in shifts]
        self._between_s = 100.0 * 3600.0 / false_alarms_per_100_h
        self._count = _ONSETS * len(self._tests)
        self._least = min(abs(shift) for shift in shifts)
        self._moved: list[ShiftTest] = []
        self._passed: list[ShiftTest] = []
        """Of the last `look`: the tests to go on with, and those that begin anew behind it."""
        self._ticks = 0
        self._newest: deque[float] = deque(maxlen=WINDOW)
        """Residuals since the last reset: one window for all tests."""
        self._density_s = 0.0
        self._thresholds: list[float] = []
        self._least_threshold = 0.0
        self.quiet = True
        """No test is under suspicion: the healthy level may still be learnt from this tick."""

    def threshold(self, shift: float, density_s: float) -> float:
        """Nats at which a false alarm comes once in the promised time.

        A tick brings I = shift^2 tick / (2 density) nats where the shift is. Between false alarms
        lie e^h / (I v^2) ticks in the mean, v being what a sum in steps overshoots by
        (Siegmund 1985, with the approximation of v by Siegmund and Yakir 2007; from memory). With
        K tests in the bank, each of `_ONSETS` kinds of onset, each gets its share of them.
        """
        information = shift * shift * _TICK_S / (2.0 * density_s)
        rare = self._count * self._between_s / _TICK_S
        often = information * _overshoot(sqrt(2.0 * information)) ** 2
        nats = log(max(1.0, rare * often)) / _STEEPNESS
        # A density that is off by u makes e^(h u) times as many, in the mean e^((h u)^2 / 2): all
        # of it for a test that takes longer than the noise remembers, little for a quick one,
        # which the news decide.
        takes_s = nats / information * _TICK_S
        nats += 0.5 * (nats * _DENSITY_U) ** 2 * takes_s / (takes_s + _MEMORY_S)
        return max(_LEAST_NATS, nats)

    def step(
        self,
        tick: Innovation,
        density_s: float,
        known_to: float,
        answers: Answer | None = None,
    ) -> Alarm | None:
        """Take one settled tick in; return the alarm with the strongest evidence, if any.

        `known_to` is the standard uncertainty of the healthy level. A shift is not looked for
        before it is `_CLEAR_OF` times that: an error of the level counts as a shift in all ticks.
        """
        loudest = self.look(Innovations.of(tick), density_s, known_to)
        self.go_on([tick.residual], loudest)
        return None if self.calm(loudest) else self._alarm(answers)

    def look(self, ticks: Innovations, density_s: float, known_to: float) -> list[float]:
        """The largest sum of its tests after each of many ticks.

        No test moves before `go_on`.
        """
        if abs(density_s - self._density_s) > _NEW_DENSITY * self._density_s:
            self._density_s = density_s
            self._thresholds = [self.threshold(test.shift, density_s) for test in self._tests]
            self._least_threshold = min(self._thresholds)
        tests, smallest = self._tests, _CLEAR_OF * known_to
        self._passed = []
        if smallest > self._least:
            self._passed = [test for test in tests if abs(test.shift) < smallest]
            tests = [test for test in tests if abs(test.shift) >= smallest]
        self._moved, loudest = look_all(tests, ticks)
        return loudest

    def calm(self, loudest: Sequence[float]) -> bool:
        """Is no threshold crossed, with the largest sums that `look` has returned?"""
        return max(loudest) <= self._least_threshold

    def go_on(self, residuals: Sequence[float], loudest: Sequence[float]) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        self._ticks += len(residuals)
        self._newest.extend(residuals)
        for test in self._passed:
            test.reset()
            test.since = self._ticks
        for test in self._moved:
            test.go_on()
        self.quiet = loudest[-1] < QUIET_NATS

    def _alarm(self, answers: Answer | None) -> Alarm | None:
        newest = list(self._newest)
        over = [
            (test, threshold)
            for test, threshold in zip(self._tests, self._thresholds, strict=True)
            if test.sum > threshold
        ]
        # The loudest that is to be believed: asking the pressure takes a closer look at samples.
        for test, threshold in sorted(over, key=lambda pair: -pair[0].sum):
            if test.crossed(threshold, newest[test.since - self._ticks :], answers):
                return Alarm(test.shift, test.seconds, test.sum, threshold)
        return None

    def state(self) -> list[tuple[float, float, float]]:
        """Shift, sum and threshold in nats of each test, for an explanation."""
        return [
            (test.shift, test.sum, threshold)
            for test, threshold in zip(self._tests, self._thresholds, strict=False)
        ]

    def reset(self) -> None:
        self._newest.clear()
        self.quiet = True
        for test in self._tests:
            test.reset()
