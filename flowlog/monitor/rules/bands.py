"""Pressure and rate outside of their bands."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.excursion import Excursion, Pace
from flowlog.monitor.rules.latch import Turn
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.stretch import Stretch
from flowlog.rig.model import Rig
from flowlog.units import show

_PRESSURE_MARGIN = 0.05
"""Share of the limit: more than the gauge's own error of 1 to 2 % of its span, and twice the
spread that a small pump gives the pressure over some seconds."""

_RATE_WINDOW = 10
"""Ticks: five seconds of settled spraying, long against turbulence and pump ripple."""
_RATE_MARGIN = 0.3
"""Share of the allowed deviation."""


class PressureBand:
    """Pressure at the gauge against the tips' working band, while settled and spraying."""

    def __init__(self, rig: Rig, book: AlertBook) -> None:
        self._rig = rig
        self._book = book
        self._low = Excursion(_PRESSURE_MARGIN)
        self._high = Excursion(_PRESSURE_MARGIN)
        self._next = self._low, self._high

    def step(self, now: Moment) -> None:
        pressure = now.pressure_pa
        if pressure is None or now.phase != "spraying":
            return
        boom = self._rig.boom
        below = 1.0 - pressure / boom.pressure_low_pa
        above = pressure / boom.pressure_high_pa - 1.0
        for excursion, code, beyond in (
            (self._low, "pressure_low", below),
            (self._high, "pressure_high", above),
        ):
            turn = excursion.step(now.at, now.step.seconds, beyond)
            if turn is not None:
                self._say(turn, code, now, pressure, excursion.since)

    def look(self, ahead: Stretch) -> int:
        """How many ticks of many pass without a turn; see `flowlog.monitor.rules.stretch`."""
        self._next = self._low, self._high
        if ahead.pressure_pa is None:
            return len(ahead)
        settled = ahead.settled
        pressure = ahead.pressure_pa[settled]
        pace = Pace(ahead.steps.seconds[settled])

        def at(i: int) -> Position:
            return ahead.at[settled[i]]

        boom = self._rig.boom
        low, after_low = self._low.after(at, pace, 1.0 - pressure / boom.pressure_low_pa)
        high, after_high = self._high.after(at, pace, pressure / boom.pressure_high_pa - 1.0)
        self._next = after_low, after_high
        return ahead.upto(settled, min(low, high))

    def go_on(self) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        self._low, self._high = self._next

    def _say(
        self, turn: Turn, code: str, now: Moment, pressure: float, since: Position | None
    ) -> None:
        boom, units = self._rig.boom, self._rig.units
        value = show(pressure, "pressure", units)
        band = (
            f"{show(boom.pressure_low_pa, 'pressure', units)} to "
            f"{show(boom.pressure_high_pa, 'pressure', units)}"
        )
        if turn == "opened":
            side = "below" if code == "pressure_low" else "above"
            text = f"Pressure {value}, {side} the tips' working band of {band}."
            self._book.open(code, now.at, since or now.at, text, Size(pressure, "Pa"))
        else:
            self._book.clear(code, now.at, f"Pressure {value}, back in the band of {band}.")


class RateBand:
    """Rate against the label's, over five seconds of settled spraying.

    The rate rests on the calibrated speed (or the wheel): a wrong pace is invisible without
    one, and the texts say so.
    """

    def __init__(self, rig: Rig, book: AlertBook) -> None:
        self._rig = rig
        self._book = book
        self._window: deque[tuple[float, float]] = deque(maxlen=_RATE_WINDOW + 1)
        """Volume and area so far, at the end of each tick."""
        self._volume = self._area = 0.0
        margin = _RATE_MARGIN * rig.thresholds.rate_share
        self._low = Excursion(margin)
        self._high = Excursion(margin)
        self._next = _Rates(self._low, self._high, [0.0, 0.0], _EMPTY)

    def step(self, now: Moment, *, meter_ok: bool) -> None:
        if now.phase != "spraying" or not meter_ok:
            self._window.clear()
            return
        self._volume += now.step.volume_m3
        self._area += now.area_m2
        self._window.append((self._volume, self._area))
        if len(self._window) <= _RATE_WINDOW:
            return
        volume, area = self._window[0]
        if self._area <= area:
            return
        rate = (self._volume - volume) / (self._area - area)
        off = rate / self._rig.work.rate_m3_m2 - 1.0
        limit = self._rig.thresholds.rate_share
        for excursion, code, beyond in (
            (self._low, "rate_low", -off - limit),
            (self._high, "rate_high", off - limit),
        ):
            turn = excursion.step(now.at, now.step.seconds, beyond)
            if turn == "opened":
                text = self._text(rate, off)
                self._book.open(code, now.at, excursion.since or now.at, text, Size(100 * off, "%"))
            elif turn == "cleared":
                self._book.clear(code, now.at, self._text(rate, off))

    def look(self, ahead: Stretch) -> int:
        """How many ticks of many pass without a turn; see `flowlog.monitor.rules.stretch`."""
        window = np.array(self._window)[-_RATE_WINDOW:].T if self._window else _EMPTY
        totals = np.array(((self._volume,), (self._area,)))
        added = np.array((ahead.steps.volume_m3, ahead.area_m2))
        moved: list[NDArray[np.float64]] = []
        judged: list[int] = []
        end = 0
        for begin, end in ahead.runs:
            if begin > 0:
                window = _EMPTY
            # From total to total one by one, as `step` adds them up.
            totals = np.add.accumulate(
                np.concatenate((totals[:, -1:], added[:, begin:end]), axis=1), axis=1
            )
            window = np.concatenate((window, totals[:, 1:]), axis=1)
            moved.append(window[:, _RATE_WINDOW:] - window[:, :-_RATE_WINDOW])
            judged += range(end - moved[-1].shape[1], end)
            window = window[:, -_RATE_WINDOW:]
        if end < len(ahead):
            window = _EMPTY
        self._next = _Rates(self._low, self._high, totals[:, -1].tolist(), window)
        if not judged:
            return len(ahead)
        volume, area = np.concatenate(moved, axis=1)
        if (area <= 0.0).any():
            return 0
        off = volume / area / self._rig.work.rate_m3_m2 - 1.0
        limit = self._rig.thresholds.rate_share
        pace = Pace(ahead.steps.seconds[judged])

        def at(i: int) -> Position:
            return ahead.at[judged[i]]

        low, self._next.low = self._low.after(at, pace, -off - limit)
        high, self._next.high = self._high.after(at, pace, off - limit)
        return ahead.upto(judged, min(low, high))

    def go_on(self) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        after = self._next
        self._low, self._high = after.low, after.high
        self._volume, self._area = after.totals
        self._window.clear()
        self._window.extend(map(tuple, after.window.T.tolist()))

    def _text(self, rate: float, off: float) -> str:
        units = self._rig.units
        asked = show(self._rig.work.rate_m3_m2, "rate", units)
        pace = "by the wheel" if self._rig.wheel else "if the ground speed is the calibrated one"
        return (
            f"Rate {show(rate, 'rate', units)}, {abs(100 * off):.0f} % "
            f"{'under' if off < 0 else 'over'} the {asked} asked for ({pace})."
        )


@dataclass(slots=True, eq=False)
class _Rates:
    """A `RateBand` as it will be."""

    low: Excursion
    high: Excursion
    totals: list[float]
    window: NDArray[np.float64]


_EMPTY = np.empty((2, 0))
