"""The supply point: where pump and regulator hold the pressure, and how it answers the boom.

Conductance is blind to the pump, and that is what finds a clogged tip. Here it is the other way
round: the logarithm of pressure against where the supply held it before. A boom that passes less
makes the pressure rise (along the pump's curve, by little with a relief valve and by much with a
centrifugal pump); a flow sensor that reads less does not.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import repeat
from math import exp, log, sqrt

from flowlog.monitor.noise import DECAY
from flowlog.rig.model import SupplyAnswer

_KEPT = 160
"""Ticks: eighty seconds, half a minute of them before an onset that is half a minute old."""
_REFERENCE = 60
"""Ticks before an onset that its pressure is compared with."""
_LEAST_REFERENCE = 8
_NEWS_SHARE = 1.0 / 240.0
_NEWS_CUT = 9.0
_FIRST_SPREAD = 0.02
"""Log pressure of a small pump wanders by 2 % over seconds (detection is tuned on this class of
noise; it is measured from the first ticks on)."""
_LEAST_VARIANCE = 0.002**2
_REPEATS = 0.0015
"""An answer repeats to so much: pump and valve are not the same curve each time."""
ANSWERS = (0.02, 0.1, 0.15, 0.25, 0.4, 0.65, 1.0)
"""By how much log pressure rises for a fall of log conductance by one: from a stiff regulator
over a centrifugal pump to a pump without any bypass (2 s / (2 + s) for a slope s of the supply's
curve; ranges worked out for the usual arrangements)."""
_REPEATS_SHARE = 0.1
"""A learnt answer is that of the day, the pressure and the mix that it was learnt with: a tenth
either way (the curve of a pump with relief valve over its working range, worked out)."""
_GRID = tuple(0.1 * 1.2**step for step in range(14))
"""Shares that a learnt answer is spread over: those of `ANSWERS`, closer, and a little beyond."""
_FAR = 0.01
_ANSWER_NATS = 7.0
"""A burst of air moves the meter alone. That the pressure moves the right way by chance in one of
its ticks has odds of less than a thousandth (3.7 spreads to one side): of six bursts an hour, half
of them large enough, that makes one in some hundred hours."""


@dataclass(frozen=True, slots=True)
class PressureAnswer:
    """How log pressure moved since an onset, and how well that is known."""

    moved: float
    sd: float
    parts: tuple[tuple[float, float, float], ...] = ()
    """Where the onset is not known for sure: weight of each hypothesis about it, how far the
    pressure moved if it is true, and how well that is known. `moved` and `sd` sum them up."""

    @staticmethod
    def mixed(parts: Sequence[tuple[float, float, float]]) -> PressureAnswer:
        """From hypotheses; one at least."""
        total = sum(weight for weight, _, _ in parts)
        kept = [(weight / total, moved, sd) for weight, moved, sd in parts]
        # Summed up by how well each explains what the pressure did, whatever the size of its move.
        nats = [0.5 * (moved / sd) ** 2 for _, moved, sd in kept]
        most = max(nats)
        told = [
            weight * sd * exp(each - most) for (weight, _, sd), each in zip(kept, nats, strict=True)
        ]
        all_told = sum(told)
        mean = sum(share * moved for share, (_, moved, _) in zip(told, kept, strict=True))
        mean /= all_told
        spread = sum(
            share * ((moved - mean) ** 2 + sd**2)
            for share, (_, moved, sd) in zip(told, kept, strict=True)
        )
        return PressureAnswer(mean, sqrt(spread / all_told), tuple(kept))

    def nats(self, move: float) -> float:
        """Log likelihood that log pressure moved by `move`, against that it stayed."""
        parts = self.parts or ((1.0, self.moved, self.sd),)
        each = []
        for weight, moved, sd in parts:
            variance = sd * sd + _REPEATS**2
            each.append(log(weight) + (move * moved - 0.5 * move * move) / variance)
        largest = max(each)
        return largest + log(sum(exp(value - largest) for value in each))

    def confirms(self, shift: float, answers: Answers) -> bool:
        """Did the pressure move against a shift of the boom by one of these shares of it?"""
        return max(self.nats(-share * shift) for share, _ in answers) > _ANSWER_NATS


Answers = tuple[tuple[float, float], ...]
"""Shares by which the pressure may answer, and how likely each is; these add up to one."""

UNKNOWN: Answers = tuple((share, 1.0 / len(ANSWERS)) for share in ANSWERS)


def answers_of(learnt: SupplyAnswer | None) -> Answers:
    """What to expect: anything that pumps do, or what a capped tip has taught."""
    if learnt is None:
        return UNKNOWN
    near = []
    for share in _GRID:
        spread = sqrt(learnt.u**2 + (_REPEATS_SHARE * share) ** 2)
        near.append((share, exp(-0.5 * ((share - learnt.share) / spread) ** 2)))
    most = max(weight for _, weight in near)
    if most < _FAR:
        # No pump does what was learnt; then nothing was.
        return UNKNOWN
    kept = [(share, weight) for share, weight in near if weight > _FAR * most]
    total = sum(weight for _, weight in kept)
    return tuple((share, weight / total) for share, weight in kept)


class SupplyPoint:
    """Recent ticks of settled spraying: log pressure, its news, and the step since an onset."""

    def __init__(self) -> None:
        self._ticks: deque[tuple[float, bool]] = deque(maxlen=_KEPT)
        """Log pressure, and whether the tick follows the one before without a break."""
        self._broken = True
        self._step_variance = _FIRST_SPREAD**2 * 2.0 * (1.0 - DECAY)

    @property
    def news_variance(self) -> float:
        """Of what a tick brings beyond what the one before foretold."""
        # Of steps from tick to tick it is this share, for noise that decays alike.
        return max(0.5 * (1.0 + DECAY) * self._step_variance, _LEAST_VARIANCE)

    def restart(self) -> None:
        """Spraying was interrupted."""
        self._broken = True

    def step(self, log_pressure: float) -> None:
        """Take one tick in."""
        self.run([log_pressure])

    def run(self, log_pressures: Sequence[float]) -> None:
        """Take in many ticks that follow one another without a break."""
        if self._broken:
            self._ticks.append((log_pressures[0], False))
            self._broken = False
            log_pressures = log_pressures[1:]
        before, variance = self._ticks[-1][0], self._step_variance
        for log_pressure in log_pressures:
            away = log_pressure - before
            before = log_pressure
            square = away * away
            cut = _NEWS_CUT * (variance if variance > _LEAST_VARIANCE else _LEAST_VARIANCE)
            variance += _NEWS_SHARE * ((square if square < cut else cut) - variance)
        self._step_variance = variance
        self._ticks.extend(zip(log_pressures, repeat(True)))

    def answer(self, ticks_ago: int) -> PressureAnswer | None:
        """The step of log pressure at an onset, by generalised least squares in correlated noise.

        Args:
            ticks_ago: The tick across which the onset lies; 1 is the newest.

        None where too little is known of before.
        """
        ticks = list(self._ticks)
        onset = len(ticks) - ticks_ago
        if ticks_ago < 2 or onset < _LEAST_REFERENCE:
            return None
        before = [value for value, _ in ticks[max(0, onset - _REFERENCE) : onset]]
        level = sum(before) / len(before)
        variance = self.news_variance
        top = weight = 0.0
        # The onset's own tick is left out: it holds an unknown part of the step.
        last, decay = before[-1] - level, DECAY * DECAY
        full = True
        for value, joined in ticks[onset + 1 :]:
            now = value - level
            if not joined:
                # After a break nothing is foretold; the noise has its whole variance.
                share, spread = 1.0, variance / (1.0 - DECAY * DECAY)
                news = now
            elif full:
                share, news = 1.0, now - decay * last
                spread = variance * (1.0 + DECAY * DECAY)
            else:
                share, news, spread = 1.0 - DECAY, now - DECAY * last, variance
            top += share * news / spread
            weight += share * share / spread
            last, full = now, False
        if weight == 0.0:
            return None
        # What the minute before does not know of its own mean.
        own = variance / (1.0 - DECAY) ** 2 / len(before)
        return PressureAnswer(top / weight, sqrt(1.0 / weight + 0.5 * own))

    def confirms(self, shift: float, seconds: float) -> bool:
        """Did the pressure move against a shift of the boom that began `seconds` ago?"""
        answer = self.answer(max(2, round(2.0 * seconds)))
        return answer is not None and answer.confirms(shift, UNKNOWN)
