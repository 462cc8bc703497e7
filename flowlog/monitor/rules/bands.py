"""Pressure and rate outside of their bands."""

from __future__ import annotations

from collections import deque

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.rules.latch import Latch
from flowlog.monitor.rules.moment import Moment
from flowlog.rig.model import Rig
from flowlog.units import show

_PRESSURE_HOLD_S = 3.0
_PRESSURE_BACK = 0.03
"""Back inside the band by 3 % before the alert clears: the gauge's own error of 1 to 2 % of its
span must not open and close it."""

_RATE_WINDOW = 10
"""Ticks: five seconds of settled spraying, long against turbulence and pump ripple."""
_RATE_HOLD_S = 2.0
_RATE_BACK = 0.7


class PressureBand:
    """Pressure at the gauge against the tips' working band, while settled and spraying."""

    def __init__(self, rig: Rig, book: AlertBook) -> None:
        self._rig = rig
        self._book = book
        self._low = Latch(_PRESSURE_HOLD_S, _PRESSURE_HOLD_S)
        self._high = Latch(_PRESSURE_HOLD_S, _PRESSURE_HOLD_S)

    def step(self, now: Moment) -> None:
        pressure = now.pressure_pa
        if pressure is None or now.phase != "spraying":
            return
        low, high = self._rig.boom.pressure_low_pa, self._rig.boom.pressure_high_pa
        self._turn(
            self._low,
            "pressure_low",
            now,
            pressure,
            bad=pressure < low,
            good=pressure > low * (1 + _PRESSURE_BACK),
        )
        self._turn(
            self._high,
            "pressure_high",
            now,
            pressure,
            bad=pressure > high,
            good=pressure < high * (1 - _PRESSURE_BACK),
        )

    def _turn(
        self, latch: Latch, code: str, now: Moment, pressure: float, *, bad: bool, good: bool
    ) -> None:
        if not bad and not latch.busy:
            return
        turn = latch.step(now.at, now.step.seconds, bad=bad, good=good)
        if turn is None:
            return
        boom, units = self._rig.boom, self._rig.units
        value = show(pressure, "pressure", units)
        band = (
            f"{show(boom.pressure_low_pa, 'pressure', units)} to "
            f"{show(boom.pressure_high_pa, 'pressure', units)}"
        )
        if turn == "opened":
            side = "below" if code == "pressure_low" else "above"
            text = f"Pressure {value}, {side} the tips' working band of {band}."
            self._book.open(code, now.at, latch.since or now.at, text, Size(pressure, "Pa"))
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
        self._low = Latch(_RATE_HOLD_S, _PRESSURE_HOLD_S)
        self._high = Latch(_RATE_HOLD_S, _PRESSURE_HOLD_S)

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
        for latch, code, beyond in ((self._low, "rate_low", -off), (self._high, "rate_high", off)):
            bad = beyond > limit
            if not bad and not latch.busy:
                continue
            good = beyond < _RATE_BACK * limit
            turn = latch.step(now.at, now.step.seconds, bad=bad, good=good)
            if turn == "opened":
                text = self._text(rate, off)
                self._book.open(code, now.at, latch.since or now.at, text, Size(100 * off, "%"))
            elif turn == "cleared":
                self._book.clear(code, now.at, self._text(rate, off))

    def _text(self, rate: float, off: float) -> str:
        units = self._rig.units
        asked = show(self._rig.work.rate_m3_m2, "rate", units)
        pace = "by the wheel" if self._rig.wheel else "if the ground speed is the calibrated one"
        return (
            f"Rate {show(rate, 'rate', units)}, {abs(100 * off):.0f} % "
            f"{'under' if off < 0 else 'over'} the {asked} asked for ({pace})."
        )
