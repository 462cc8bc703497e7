"""Is a noisy value outside of its limit? Decided once, not at each swing.

A value that hovers at its limit crosses it at every swing of the pump. What is judged is
therefore an average, and the way back is longer than the way out.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.latch import Turn
from flowlog.monitor.rules.stretch import first

_QUICK_S = 4.0
"""Twice the correlation time of pressure and flow noise on a small rig."""
_SLOW_S = 40.0
_HOLD_S = 2.0
_CLIP = 2.0
"""In margins: how far one tick may pull the averages, so that a long way inside does not delay
the way out."""
_AS_FAR = 1.0 - 1e-4
"""An average that is as far inside as it can come, but for so much, is there: where values stay far
inside for an hour, none of them needs to be looked at."""


class Excursion:
    """Opens when the quick average lies outside for two seconds.

    Clears when the slow average lies inside by the margin, or the quick one by twice the margin
    for two seconds: someone mended it.
    """

    def __init__(self, margin: float) -> None:
        self._margin = margin
        self._quick: float | None = None
        self._slow = 0.0
        self._held_s = 0.0
        self.active = False
        self.since: Position | None = None
        """Where the value began to lie outside."""

    def step(self, at: Position, seconds: float, beyond: float) -> Turn | None:
        """`beyond` is how far the value lies outside of its limit; negative inside."""
        far = _CLIP * self._margin
        clipped = max(-far, min(far, beyond))
        if self._quick is None:
            self._quick = clipped
        else:
            self._quick += (clipped - self._quick) * min(1.0, seconds / _QUICK_S)
            if self._quick < -_AS_FAR * far:
                self._quick = -far
        if self.active:
            self._slow += (clipped - self._slow) * min(1.0, seconds / _SLOW_S)
            return self._back(seconds)
        if beyond <= 0.0:
            self.since = None
        elif self.since is None:
            self.since = at
        self._held_s = self._held_s + seconds if self._quick > 0.0 else 0.0
        if self._held_s < _HOLD_S - 1e-9:
            return None
        self.active, self._held_s = True, 0.0
        self.since = self.since or at
        # The way back starts from here, whatever went before.
        self._slow = self._quick
        return "opened"

    def _back(self, seconds: float) -> Turn | None:
        quick = self._quick if self._quick is not None else 0.0
        mended = quick < -(_CLIP - 0.2) * self._margin
        self._held_s = self._held_s + seconds if mended else 0.0
        if self._held_s < _HOLD_S - 1e-9 and self._slow > -self._margin:
            return None
        self.active, self._held_s = False, 0.0
        self.since = None
        return "cleared"

    def after(
        self, at: Callable[[int], Position], pace: Pace, beyond: NDArray[np.float64]
    ) -> tuple[int, Excursion]:
        """How many of many values bring no turn, and this excursion as it is behind them.

        `beyond` has shape (n,), `at` gives the place of each. The same as `step` on each, to the
        last bit; nothing changes here. The second is of use only if the first is n.
        """
        ahead = copy(self)
        if ahead._pass_over(at, pace, beyond):
            return len(beyond), ahead
        ahead = copy(self)
        for i, value in enumerate(zip(pace.seconds, beyond.tolist(), strict=True)):
            if ahead.step(at(i), *value) is not None:
                return i, ahead
        return len(beyond), ahead

    def _pass_over(
        self, at: Callable[[int], Position], pace: Pace, beyond: NDArray[np.float64]
    ) -> bool:
        """As `step` on each value, if the averages come nowhere near a turn; else False."""
        if not len(beyond):
            return True
        quick = self._quick_averages(pace, beyond)
        if self.active:
            far = _CLIP * self._margin
            values = np.maximum(-far, np.minimum(far, beyond)).tolist()
            slow = self._slow
            slows = [
                slow := slow + (value - slow) * share
                for value, share in zip(values, pace.slow, strict=True)
            ]
            self._slow = slow
            if min(quick) < -(_CLIP - 0.2) * self._margin or min(slows) <= -self._margin:
                return False
        elif max(quick) > 0.0:
            return False
        else:
            inside = np.flatnonzero(beyond <= 0.0)
            outside = int(inside[-1]) + 1 if len(inside) else 0
            if outside == len(beyond):
                self.since = None
            elif outside > 0 or self.since is None:
                self.since = at(outside)
        self._held_s = 0.0
        return True

    def _quick_averages(self, pace: Pace, beyond: NDArray[np.float64]) -> list[float]:
        """The quick average after each value from the first on that moves it; one at least."""
        far = _CLIP * self._margin
        quick, begin = self._quick, 0
        if quick is None:
            quick = max(-far, min(far, float(beyond[0])))
        if quick == -far:
            begin = first(beyond > -far)
        values = np.maximum(-far, np.minimum(far, beyond[begin:])).tolist()
        as_far = -_AS_FAR * far
        averages = [quick]
        for value, share in zip(values, pace.quick[begin:], strict=True):
            quick += (value - quick) * share
            if quick < as_far:
                quick = -far
            averages.append(quick)
        self._quick = quick
        return averages


class Pace:
    """How long each of many values lasted, and its shares of the two averages."""

    __slots__ = ("quick", "seconds", "slow")

    def __init__(self, seconds: NDArray[np.float64]) -> None:
        self.seconds: list[float] = seconds.tolist()
        self.quick: list[float] = np.minimum(1.0, seconds / _QUICK_S).tolist()
        self.slow: list[float] = np.minimum(1.0, seconds / _SLOW_S).tolist()
