"""A fault of the boom while it lasts: how large it is by now, whether it grew or is gone."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from math import log1p, sqrt
from typing import Final, Literal

from flowlog.monitor.cusum import WINDOW, Innovation, Innovations, ShiftTest, look_all
from flowlog.monitor.noise import NoiseLevel
from flowlog.physics.tips import blocked_tip_log_shift

_KEPT: Final = 120
"""Ticks: a minute, over which a fault that went away slowly is told from one that stays."""
_SKIPPED: Final = 2
"""The tick across which the onset lies, and the next, in which the meter's rotor still follows."""
_FOLLOWING: Final = 0.05
"""Share of a shift that the rotor may still have to follow in the third tick: its lag of 0.2 s
leaves a third of a step to the mean of the half second after it, and a twelfth of that to the
next."""
_CHANGE_NATS: Final = 12.0
"""Half a tip of twelve (2.3 nats a second at the assumed noise) seems to come or to go once in
e^12 / 2.3 s / 2 = ten hours of an open fault; 10 nats would sound the buzzer every hour or two."""
_DOUBT_NATS: Final = 3.0
_REFINED_AT: Final = (6, 16, 50)
"""Ticks after the opening at which it is measured again: 3, 8 and 25 s. Each time its uncertainty
has about halved."""
_STEADY_SD: Final = 3.0
_LEFT: Final = 0.3
"""Less than this share of a fault that may have gone is what the meter still has to follow."""

Turn = Literal["refined", "grew", "gone"]


def mean_since(residuals: Sequence[float], noise: NoiseLevel) -> tuple[float, float]:
    """Mean of the residuals since an onset and its standard uncertainty.

    A fault that crept in is measured by its newer half, again and again until both halves of
    what is left agree.
    """
    values = list(residuals)
    following = 0.0
    if len(values) > 2 * _SKIPPED:
        values = values[_SKIPPED:]
    else:
        values = values[-2:] if len(values) > 2 else values[-1:]
        following = _FOLLOWING * abs(values[-1])
    while len(values) >= 8:
        half = len(values) // 2
        early, late = values[:half], values[half:]
        apart = abs(sum(early) / half - sum(late) / len(late))
        if apart < _STEADY_SD * sqrt(2.0 * noise.mean_variance(half)):
            break
        values = late
    return sum(values) / len(values), sqrt(noise.mean_variance(len(values)) + following**2)


class OpenFault:
    """Follows one fault from its opening on."""

    def __init__(
        self, code: str, level: float, residuals: Sequence[float], tips: int, smallest: float
    ) -> None:
        self.code = code
        self.level = level
        """Shift of the log conductance against the baseline."""
        self.residuals: deque[float] = deque(residuals, maxlen=_KEPT)
        self.onsets = [len(self.residuals)]
        """Ticks since its onset, and since that of each size that it grew to."""
        self.age = 0
        """Ticks since it was opened or grew."""
        self._measured = 0
        """Age at which it was measured last."""
        self._tips = tips
        self._smallest = smallest
        self._gone = 0.4 * smallest
        """Less than half of the smallest shift that is looked for: such a level raises no test, so
        that what is cleared here does not come back by itself."""
        self.was = level
        """Its shift before it grew."""
        self.grown = False
        self.classes: dict[str, float] = {}
        """What it may be, as it was weighed last."""
        self.smooth: dict[str, float] = {}
        """The same without its roughness, which is measured over all of it, again and again."""
        self.known: dict[str, float] = {}
        """That, when it grew."""
        self._set_tests()

    def _set_tests(self) -> None:
        step = -blocked_tip_log_shift(max(self._tips, 2), 0.5)
        if self.level > 0.0:
            step = max(0.5 * log1p(0.1), 0.5 * self.level)
        self._back = ShiftTest(-self.level)
        self._tests = (self._back, ShiftTest(step), ShiftTest(-step))
        self._newest: deque[float] = deque(maxlen=WINDOW)
        """Residuals as these tests see them."""
        self.suspicion = 0.0
        """Nats of the strongest test for a change."""
        self._moved: list[ShiftTest] = []
        self._seen: tuple[list[float], float] = ([], 0.0)
        """Of the last `look`: the tests to go on with, residuals as they see them, suspicion."""

    def step(
        self, innovation: Innovation | None, residual: float, noise: NoiseLevel
    ) -> Turn | None:
        """Take one tick in; say whether anything about the fault changed."""
        if innovation is None:
            self._pass([residual])
        else:
            self.look(Innovations.of(innovation))
            self.go_on([residual])
        if self.suspicion > _CHANGE_NATS:
            turn = self._changed(noise)
            if turn is not None:
                return turn
        return self.due()

    @property
    def room(self) -> int:
        """How many ticks until it is `due` to be measured again, that one included; or many."""
        if self._is_overdue:
            return 1
        return next((age - self.age for age in _REFINED_AT if age > self.age), _KEPT)

    def look(self, ticks: Innovations) -> bool:
        """Does the fault stay as it is over many ticks? Nothing changes before `go_on`."""
        # These tests see the fault's level as their zero.
        level = self.level
        residuals = [residual - level for residual in ticks.residual]
        lasting = ticks.rest * level
        news = [news - lasting for news in ticks.news]
        seen = Innovations(residuals, news, ticks.rest, ticks.variance, ticks.seconds)
        self._moved, loudest = look_all(self._tests, seen)
        self._seen = (residuals, loudest[-1])
        return max(loudest) <= _CHANGE_NATS

    def go_on(self, residuals: Sequence[float]) -> None:
        """Go on behind the ticks that the last `look` saw, whose residuals these are."""
        self._pass(residuals)
        seen, self.suspicion = self._seen
        self._newest.extend(seen)
        for test in self._moved:
            test.go_on()

    def _pass(self, residuals: Sequence[float]) -> None:
        self.residuals.extend(residuals)
        self.onsets = [ticks + len(residuals) for ticks in self.onsets]
        self.age += len(residuals)

    def due(self) -> Turn | None:
        """Is it to be measured again? Not while a change is in the air, but then."""
        if not self._is_overdue or self.suspicion >= _DOUBT_NATS:
            return None
        self._measured = self.age
        return "refined"

    @property
    def _is_overdue(self) -> bool:
        return self.age <= _KEPT and any(self._measured < due <= self.age for due in _REFINED_AT)

    def has_faded(self, noise: NoiseLevel) -> bool:
        """Has it gone so slowly that no test saw it? To be asked now and then."""
        if self.onsets[-1] < _KEPT:
            return False
        mean = sum(self.residuals) / len(self.residuals)
        sd = sqrt(noise.mean_variance(len(self.residuals)))
        return abs(mean) < min(self._gone, max(sd, 0.5 * self._smallest - 2.0 * sd))

    def _changed(self, noise: NoiseLevel) -> Turn | None:
        newest = list(self._newest)
        crossed = [test for test in self._tests if test.crossed(_CHANGE_NATS, newest)]
        if not crossed:
            return None
        best = max(crossed, key=lambda test: test.sum)
        count = min(len(self.residuals), max(2, round(2.0 * best.seconds)))
        since = list(self.residuals)[-count:]
        level, sd = mean_since(since, noise)
        least = max(self._gone, 2.0 * sd)
        if self._back.sum > best.sum - _DOUBT_NATS:
            # From two tips to one is a way back as well, but not all of it.
            least = max(least, _LEFT * abs(self.level))
        if abs(level) < least or level * self.level < 0.0:
            return "gone"
        self.residuals = deque(since, maxlen=_KEPT)
        self.onsets.append(count)
        self.age = self._measured = 0
        self.was, self.grown = self.level, True
        self.known = self.smooth
        self.set_level(level)
        return "grew"

    def has_shrunk(self, level: float, sd: float) -> bool:
        """Is a level as measured too small, beyond doubt, for anything that is looked for?"""
        return abs(level) + 2.0 * sd < self._smallest

    def set_level(self, level: float) -> None:
        """It is measured to be this large now."""
        self.level = level
        self._set_tests()
