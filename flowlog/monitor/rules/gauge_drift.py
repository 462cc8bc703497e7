"""A gauge whose zero has moved, found while the boom is shut and nothing flows.

A gauge at the boom then reads what the tips' check valves hold, 8 to 10 psi, or falls to zero where
they or the boom leak. Whatever lies outside of that is the gauge's own error; so is a pressure that
is held as steadily as in the route's first pauses, but elsewhere. One reading is taken in each
pause, after the boom has bled and before it leaks or warms: five to eight seconds after closing.

It cannot be found here: an error of the span (nothing is known at pressure), a zero that has moved
by less than check valves scatter, one that had moved before the route and still reads like a check
valve, and one that makes what is held read like an empty boom. Nor, without the boom valve's input,
one that reads more than half the pressure of work: the boom passes for open then. Valves that have
come to hold another pressure look the same, and the checks say so.

It takes three pauses that agree to say so, since valves may stick in one. One is enough where an
alert about the boom is open that began since the last good pause and has the size and the sign
that such a gauge makes of a healthy boom: valves do not know of it. That alert then is this one.

A gauge at the pump reads the dead head of a shut boom, which regulator and engine move by more than
any drift: only below zero it can be told to be wrong.
"""

from __future__ import annotations

from collections import deque
from copy import copy
from itertools import pairwise
from math import log, sqrt
from statistics import median
from typing import Final, Literal, Protocol

import numpy as np

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.codes import CODES
from flowlog.monitor.outputs import Phase, Position
from flowlog.monitor.phase import CHECK_VALVE_PA
from flowlog.monitor.rules.latch import Turn
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.stretch import Stretch
from flowlog.rig.model import Rig
from flowlog.units import show

_CLASS: Final = 0.015
"""Of span: a gauge of this class is good to 0.5 to 1 %, board and supply add the rest (common
practice, no source)."""
_MOVED: Final = 0.03
"""Of span, against the first pauses: twice that. At 40 psi of 100 it is 4 % of flow."""
_SCATTER_PA: Final = 14e3
"""2 psi: check valves hold 8 to 10 psi (common practice, no source), so they may move by that."""
_SCATTER_SD_PA: Final = _SCATTER_PA / sqrt(12.0)
"""Anywhere within it."""
_STEADY: Final = 0.003
"""Of span, within the reading. A leak that took `_MOVED` in the six seconds before takes twice as
much in these."""
_TICKS: Final = 5
_HELD_BACK: Final = 1
"""The last tick of a pause may have seen the boom open."""
_LOW_TICKS: Final = 4
"""Two seconds: a boom that sprayed with less than the valves need holds less."""
_FIRST: Final = 5
_FEWEST: Final = 3
"""Pauses, to compare with, to say it and to take it back."""

_LOOK: Final = "Look once at the tips and hoses: a fault of just this size would hide behind it."

_Finding = Literal["low", "lower", "good", "higher", "high", "none"]
"""Outside of what can be (low, high), elsewhere than at first, as at first; or it says nothing."""
_Turn = Turn | Literal["moved"]
"""It may have turned, in one pause or two: that is enough where the boom has seen it, too."""
_SIDES: Final[dict[_Finding, int]] = {"low": -1, "lower": -1, "good": 0, "higher": 1, "high": 1}


class _State:
    """What is known so far."""

    def __init__(self, rig: Rig) -> None:
        span = rig.gauge.span_pa
        self._at_boom = rig.gauge.place == "boom"
        self._beyond = _CLASS * span
        self._moved = max(_MOVED * span, _SCATTER_PA)
        self._steady = _STEADY * span
        lower = min(rig.expected_pressure_pa, rig.boom.pressure_low_pa)
        self._pressed = max(0.5 * lower, CHECK_VALVE_PA)
        self._low_ticks = _LOW_TICKS
        """In a row, at the end of the spraying so far."""
        self._fresh = False
        """It sprayed since the last pause that was read."""
        self._values: list[float] = []
        self._first: list[float] = []
        self._run = 0
        """Pauses in a row with a finding to the same side."""
        self.finding: _Finding = "none"
        self.value_pa = 0.0
        self.since: Position | None = None
        """The first pause of the run."""
        self.good: Position | None = None
        """The last pause in which it read as at first."""
        self.active = False
        self._sprayed: deque[float] = deque(maxlen=_LOW_TICKS)

    def copy(self) -> _State:
        other = copy(self)
        other._values, other._first = list(self._values), list(self._first)
        other._sprayed = self._sprayed.copy()
        return other

    @property
    def several(self) -> bool:
        """Have as many pauses agreed as it takes without any other evidence?"""
        return self._run >= _FEWEST

    @property
    def held_pa(self) -> float | None:
        """What the gauge read in the first pauses, where the boom held its pressure."""
        return median(self._first) if len(self._first) >= _FEWEST else None

    @property
    def sprayed_pa(self) -> float | None:
        """What it read at last while spraying."""
        return median(self._sprayed) if self._sprayed else None

    def sprayed(self, pressures_pa: list[float | None]) -> None:
        """Settled spraying, tick by tick."""
        for pressure in pressures_pa:
            low = pressure is None or pressure < self._pressed
            self._low_ticks = self._low_ticks + 1 if low else 0
            if pressure is not None and not low:
                self._sprayed.append(pressure)
        self._fresh = True
        self._values.clear()

    def moved(self) -> None:
        """Opening or draining."""
        self._values.clear()

    def rested(self, at: Position, pressure_pa: float | None) -> _Turn | None:
        """A tick with the boom shut; None if something flowed or the gauge is broken."""
        if not self._fresh:
            return None
        if pressure_pa is None or self._low_ticks >= _LOW_TICKS:
            self._fresh = False
            return None
        self._values.append(pressure_pa)
        if len(self._values) < _TICKS + _HELD_BACK:
            return None
        values, self._fresh = self._values[:_TICKS], False
        fell = abs(sum(values[-2:]) - sum(values[:2])) / 2.0
        return self._take(at, median(values), steady=fell <= self._steady)

    def _take(self, at: Position, value_pa: float, *, steady: bool) -> _Turn | None:
        found = self._found(value_pa, steady=steady)
        if found == "none":
            return None
        if found == "good" and len(self._first) < _FIRST and value_pa > self._beyond:
            self._first.append(value_pa)
        if self._run == 0 or _SIDES[found] != _SIDES[self.finding]:
            self._run, self.since = 0, at
        self._run += 1
        self.finding, self.value_pa = found, value_pa
        if found == "good":
            self.good = at
        if self.active == (found != "good"):
            return None
        if self._run < _FEWEST:
            return "moved" if self.held_pa is not None else None
        self.active = found != "good"
        return "opened" if self.active else "cleared"

    def _found(self, value_pa: float, *, steady: bool) -> _Finding:
        if value_pa < -self._beyond:
            return "low"
        if not self._at_boom or not steady:
            return "none"
        if value_pa > CHECK_VALVE_PA + self._beyond:
            return "high"
        held = self.held_pa
        if held is None:
            return "good"
        off = value_pa - held
        if off > self._moved:
            return "higher"
        if value_pa <= self._beyond:
            return "none"  # An empty boom, whatever its gauge.
        if off < -self._moved:
            return "lower"
        # Between them nothing is said: that keeps it from flapping.
        return "good" if abs(off) < 0.5 * self._moved else "none"


class Boom(Protocol):
    """What the rule about the boom knows that bears on the gauge."""

    def yield_to_gauge(self, log_off: float, sd: float, good: Position | None) -> str | None:
        """Make the open alert about the boom one of the gauge; in words, what it was.

        Args:
            log_off: By how much log pressure reads too high while spraying.
            sd: Standard uncertainty of it.
            good: Before this the gauge was right.

        Returns:
            None if there is none, or the gauge does not explain it.
        """
        ...

    def gauge_is_back(self, at: Position, text: str) -> bool:
        """Clear what the boom seems to have because the gauge reads right again; was there any?"""
        ...


class GaugeDrift:
    """Reads the gauge in each pause and says once that its zero has moved."""

    def __init__(self, rig: Rig, book: AlertBook, boom: Boom) -> None:
        self._rig = rig
        self._book = book
        self._boom = boom
        self._state = self._next = _State(rig)

    def step(self, now: Moment, *, whole: bool) -> None:
        """Take one tick in; `whole` says that no other rule has found the gauge broken."""
        state = self._state
        pressure = now.pressure_pa if whole else None
        if now.phase == "spraying":
            state.sprayed([pressure])
        elif now.phase == "off":
            turn = state.rested(now.at, pressure if now.step.pulses == 0 else None)
            if turn is not None:
                self._turn(now.at, turn)
        else:
            state.moved()

    def _turn(self, at: Position, turn: _Turn) -> None:
        state = self._state
        back = state.finding == "good"
        if back:
            seen = self._boom.gauge_is_back(at, "The gauge's zero is back; so is this.")
        else:
            was = self._explained()
            seen = was is not None
        if turn == "moved" and not seen:
            return
        state.active = not back
        if back:
            text = "With the boom shut the gauge reads what it should again."
            self._book.clear("gauge_drift", at, text)
        else:
            self._say(at, was)

    def _explained(self) -> str | None:
        """What the boom was thought to have, if it is this."""
        state = self._state
        held, sprayed = state.held_pa, state.sprayed_pa
        if held is None or sprayed is None or self._rig.gauge.place != "boom":
            return None
        true = sprayed - (state.value_pa - held)
        if true <= 0.0:
            return None
        return self._boom.yield_to_gauge(log(sprayed / true), _SCATTER_SD_PA / true, state.good)

    def look(self, ahead: Stretch) -> int:
        """How many ticks of many pass without a turn; see `flowlog.monitor.rules.stretch`."""
        state = self._next = self._state.copy()
        names = ahead.phases.names
        off, spraying = ahead.phases.off, ahead.phases.spraying
        kinds = off.astype(np.int8) + 2 * spraying.astype(np.int8)
        edges = [0, *(np.flatnonzero(np.diff(kinds)) + 1).tolist(), len(names)]
        for begin, end in pairwise(edges):
            phase: Phase = names[begin]
            if phase == "spraying":
                # More than the last ticks cannot tell more than that they are many.
                state.sprayed(_part(ahead, max(begin, end - _LOW_TICKS), end))
            elif phase == "off":
                last = min(end, begin + _TICKS + _HELD_BACK)
                flows = ahead.steps.pulses[begin:last] != 0
                pressures = zip(_part(ahead, begin, last), flows.tolist(), strict=True)
                for i, (pressure, flowing) in enumerate(pressures, begin):
                    if state.rested(ahead.at[i], None if flowing else pressure) is not None:
                        return i
            else:
                state.moved()
        return len(ahead)

    def go_on(self) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        self._state = self._next

    def _say(self, at: Position, was: str | None) -> None:
        state, units = self._state, self._rig.units
        value, held = state.value_pa, state.held_pa
        text = (
            f"With the boom shut and no flow the gauge reads {show(value, 'pressure', units)}"
            f"{' in pause after pause' if state.several else ''}"
        )
        if held is not None and self._rig.gauge.place == "boom":
            off, by = value - held, ""
            text += f", and read {show(held, 'pressure', units)} in the first ones"
        else:
            off, by = value - (0.0 if state.finding == "low" else CHECK_VALVE_PA), "at least "
            text += (
                ", below zero"
                if state.finding == "low"
                else f": check valves hold {show(CHECK_VALVE_PA, 'pressure', units)} at most"
            )
        percent = 100.0 * off / self._rig.gauge.span_pa
        text += (
            f". Its zero seems to be off by {by}{show(abs(off), 'pressure', units)} "
            f"({abs(percent):.1f} % of its span): it reads too {'high' if off > 0.0 else 'low'}, "
            "while spraying too."
        )
        size = Size(percent, "%")
        if was is None:
            self._book.open("gauge_drift", at, state.since or at, text, size)
            return
        text += f" That explains what was told as {was}: size, sign and time agree."
        checks = (*CODES["gauge_drift"].checks, _LOOK)
        self._book.grow("gauge_drift", at, text, size, checks=checks)


def _part(ahead: Stretch, begin: int, end: int) -> list[float | None]:
    pressures = ahead.pressure_pa
    if pressures is None:
        return [None] * (end - begin)
    found: list[float | None] = pressures[begin:end].tolist()
    return found
