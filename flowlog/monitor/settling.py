"""How long the boom takes to settle after it opens: calibrated, learnt on the route, or as usual.

Long hoses fill, give and let air out: then the meter counts for seconds what no tip sprays yet.
What is judged too soon looks like a leak at each opening and passes for rough ground. The
calibrated baseline has measured the time. Without one each opening of the route is looked at: after
how many seconds is flow over pressure back at what the rest of its first ten seconds say?

A new time counts from the next opening on. It changes only at the tenth second after an opening,
in settled spraying: so many ticks at once are cut before the opening that follows (`look`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from copy import copy
from math import ceil, inf
from statistics import median
from typing import Final, NamedTuple

from flowlog.monitor.conductance import Law, Residual
from flowlog.monitor.motion import GAP_S
from flowlog.monitor.outputs import Phase
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.stretch import Stretch
from flowlog.monitor.ticks import TICK_MS, rows_of
from flowlog.rig.model import HealthyBoom

USUAL_S: Final = 2.0
"""After the boom opens, pressure takes 1 to 2 s to rise and the meter's rotor to follow. Never less
without a calibration: false alarms were counted with this."""
_LEAST_S: Final = 1.0
_MOST_S: Final = 6.0
"""A boom that takes longer fills from empty each time; waiting for it would leave short passes
unjudged."""
_TICK_S: Final = TICK_MS * 1e-3
_CLOCK_S: Final = 0.1 * _TICK_S
"""So much less is waited for, so that a clock that runs a little slow costs no tick more."""

_WATCHED_S: Final = 10.0
_MOST_WATCHED: Final = round(_WATCHED_S / _TICK_S) + 2
"""Ticks; more than one opening is watched for."""
_LEVEL_FROM_S: Final = _MOST_S
"""The ticks from here on tell an opening's own level."""
_LEAST_LEVEL: Final = 6
_STAYS: Final = 3
"""Ticks in a row within the noise are settled. Not all that follow, or a burst of air (up to 1.2 s)
five seconds on would count."""
_WITHIN_LEAST: Final = 0.03
"""As the calibration has it."""
_WITHIN: Final = 3.5 * 2.0
"""Spreads within the level's four seconds. Noise with a correlation time of 2 s lies twice as far
from their median two to four seconds before them as within them (simulated): 3.5 times that."""
_OPEN: Final = ("settling", "spraying")
_KEPT: Final = 8
_ODD: Final = 2
"""So many openings of the last eight may take longer than the time that counts, for a burst of air
or a tip that clogs; one of three to five. With harsh noise one opening in 150 seems longer than it
is (simulated), three of eight in two cases of 100,000. And the longest of the day keeps no rig
waiting."""
_FEW: Final = 6
_FEWEST: Final = 3


class SettleTime:
    """Follows the openings and says how long to wait after the next one."""

    def __init__(self, healthy: HealthyBoom | None, law: Law) -> None:
        self._law = law
        calibrated = healthy.settle_s if healthy is not None else None
        self._learns = calibrated is None
        self._state = _State(USUAL_S)
        if calibrated is not None:
            # It is told from the opening to the middle of the first tick that is settled.
            wait_s = _with_margin(min(calibrated, _MOST_S) - 0.5 * _TICK_S)
            self._state.settle_s = min(max(wait_s, _LEAST_S), _MOST_S) - _CLOCK_S
        self._next = self._state

    @property
    def settle_s(self) -> float:
        """To wait from the end of the tick in which the boom opens."""
        return self._state.settle_s

    def step(self, now: Moment, *, sensors_ok: bool) -> None:
        """Take one tick in."""
        if self._learns:
            pressure = now.pressure_pa if sensors_ok else None
            tick = _Tick(now.step.seconds, now.step.flow_m3_s, pressure)
            self._state.step(now.phase, tick, self._law)

    def look(self, ahead: Stretch) -> int:
        """How many ticks of many pass before an opening that is waited for otherwise."""
        if not self._learns:
            return len(ahead)
        names = ahead.phases.names
        state = self._next = self._state.copy()
        at = 0
        while at < len(ahead):
            if state.opening is None:
                at = _next_opening(names, at)
                if at == len(ahead):
                    break
            before_s = state.settle_s
            part = slice(at, at + _MOST_WATCHED)
            at += state.run(names[part], _ticks_of(ahead, part), self._law)
            if state.settle_s != before_s:
                end = _next_opening(names, at)
                if end < len(ahead):
                    return end
        return len(ahead)

    def go_on(self) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        self._state = self._next


class _Tick(NamedTuple):
    seconds: float
    flow_m3_s: float
    pressure_pa: float | None


def _ticks_of(ahead: Stretch, part: slice) -> list[_Tick]:
    seconds = ahead.steps.seconds[part].tolist()
    pressures: list[float] | list[None] = [None] * len(seconds)
    if ahead.pressure_pa is not None:
        pressures = ahead.pressure_pa[part].tolist()
    return list(rows_of(_Tick, (seconds, ahead.steps.flow_m3_s[part].tolist(), pressures)))


def _next_opening(names: list[Phase], begin: int) -> int:
    try:
        return names.index("settling", begin)
    except ValueError:
        return len(names)


def _with_margin(settled_s: float) -> float:
    """What to wait for, in whole ticks, if the tick that ends then is the first within the noise.

    What falls exponentially from all of the flow to a thirtieth of it falls to a hundredth in a
    third of the time more.
    """
    wait_s = settled_s + (settled_s + 0.5 * _TICK_S) / 3.0
    return ceil(wait_s / _TICK_S - 1e-6) * _TICK_S


Values = list[tuple[float, float | None]]
"""The end of each tick, in seconds since the opening, and its log conductance."""


class _Opening:
    """The first seconds after an opening.

    Of the tick in which the boom opens only a part is spraying: it begins the delay of the
    pressure and no more.
    """

    def __init__(self, tick: _Tick) -> None:
        self.since_s = 0.0
        """From the end of the tick in which it opened."""
        self._ticks = [tick]
        self._ends_s: list[float] = []

    def copy(self) -> _Opening:
        other = copy(self)
        other._ticks, other._ends_s = list(self._ticks), list(self._ends_s)
        return other

    def take(self, ticks: Iterable[_Tick]) -> int:
        """Take ticks in until it was watched for long enough; return how many."""
        since_s, begun = self.since_s, len(self._ticks)
        for tick in ticks:
            self._ticks.append(tick)
            since_s += tick.seconds
            self._ends_s.append(since_s)
            if since_s >= _WATCHED_S:
                break
        self.since_s = since_s
        return len(self._ticks) - begun

    def values(self, law: Law) -> Values:
        """Of each tick but the first."""
        residual = Residual(law)
        seconds, flows, pressures = zip(*self._ticks, strict=True)
        values: list[float | None] = []
        if None not in pressures and min(flows) > 0.0 and min(pressures) > 0.0:
            values += residual.run(seconds, flows, pressures)
        else:
            for tick in self._ticks:
                if tick.pressure_pa is None:
                    residual.restart()
                    values.append(None)
                else:
                    flow, pressure = tick.flow_m3_s, tick.pressure_pa
                    values.append(residual.step(tick.seconds, flow, pressure))
        return list(zip(self._ends_s, values[1:], strict=True))


def _level(values: Values) -> tuple[float, float] | None:
    """Median of the last seconds and the spread about it; None if too little is known."""
    last = [value for end, value in values if end > _LEVEL_FROM_S and value is not None]
    if len(last) < _LEAST_LEVEL:
        return None
    middle = median(last)
    return middle, median(abs(value - middle) for value in last) / 0.6745


def _settled_s(values: Values, level: float, within: float) -> float:
    """The end of the first tick from which on three lie within; infinite if there is none."""
    run = 0
    for i, (_end, value) in enumerate(values):
        run = run + 1 if value is not None and abs(value - level) <= within else 0
        if run == _STAYS:
            return values[i + 1 - _STAYS][0]
    return inf


class _State:
    """What is known so far."""

    def __init__(self, settle_s: float) -> None:
        self.settle_s = settle_s
        self.opening: _Opening | None = None
        self._found: list[tuple[float, float]] = []
        """Of the last openings: when they had settled, and the spread of their level's ticks."""

    def copy(self) -> _State:
        other = copy(self)
        other.opening = self.opening.copy() if self.opening is not None else None
        other._found = list(self._found)
        return other

    def step(self, phase: Phase, tick: _Tick, law: Law) -> None:
        if phase not in _OPEN:
            self.opening = None
        elif phase == "settling" and (self.opening is None or tick.seconds > GAP_S):
            self.opening = _Opening(tick)
        elif self.opening is not None:
            self._watch(self.opening, [tick], law)

    def run(self, phases: Sequence[Phase], ticks: Sequence[_Tick], law: Law) -> int:
        """`step` for the first of many ticks without a gap, up to the end of an opening.

        Returns:
            How many; one at least.
        """
        opening = self.opening
        if opening is None or phases[0] not in _OPEN:
            self.step(phases[0], ticks[0], law)
            return 1
        shut = next((i for i, phase in enumerate(phases) if phase not in _OPEN), len(phases))
        return self._watch(opening, ticks[:shut], law)

    def _watch(self, opening: _Opening, ticks: Iterable[_Tick], law: Law) -> int:
        taken = opening.take(ticks)
        if opening.since_s >= _WATCHED_S:
            self.opening = None
            self._learn(opening.values(law))
        return taken

    def _learn(self, values: Values) -> None:
        level = _level(values)
        if level is None:
            return
        spreads = [spread for _, spread in self._found] + [level[1]]
        within = max(_WITHIN_LEAST, _WITHIN * median(spreads))
        self._found.append((_settled_s(values, level[0], within), level[1]))
        del self._found[:-_KEPT]
        if len(self._found) < _FEWEST:
            return
        odd = 1 if len(self._found) < _FEW else _ODD
        counts_s = sorted(time for time, _ in self._found)[-1 - odd]
        if counts_s <= USUAL_S + _CLOCK_S:
            self.settle_s = USUAL_S
        elif counts_s < _MOST_S:
            self.settle_s = min(_with_margin(counts_s), _MOST_S) - _CLOCK_S
        else:
            self.settle_s = _MOST_S - _CLOCK_S
