"""The boom's conductance: blocked tips, missing tips and leaks, a meter that counts twice.

One alert follows one fault: it opens when the bank of sequential tests crosses, grows or
shrinks when the level moves by half a tip, and clears when the test for the way back crosses.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from math import exp, log, sqrt

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.conductance import Baseline, NoiseLevel, Residual
from flowlog.monitor.cusum import Alarm, Bank, Innovation, ShiftTest
from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.moment import Moment
from flowlog.physics.carrier import carrier_log_shift
from flowlog.physics.tips import blocked_tip_log_shift, blocked_tips
from flowlog.rig.model import HealthyBoom, Rig

_RECENT = 24
"""Ticks kept: twelve seconds, enough to look back before the onset of any alarm."""
_REFINE = 10
"""Ticks over which an open alert's level is measured again: five seconds."""
_GROW_TIPS = 0.5
_CLEAR_NATS = 10.0
"""Odds of 22,000 to one that the fault is gone."""
_DOUBLE = log(2.0)
_DAY_TO_DAY = 0.0075
"""How well the conductance of a healthy boom repeats: meter and gauge 0.5 % each, temperature the
rest (an uncertainty budget of repeatability alone; common practice, no source)."""
_UNEXPECTED = 0.2
"""Meter, gauge and tips out of the box are each good to 5 to 10 %: a boom that differs from the
rig file by more than a fifth differs in something else."""


@dataclass(slots=True)
class _Settled:
    """One tick of settled spraying, waiting for the next to confirm that the boom stayed open."""

    at: Position
    seconds: float
    log_conductance: float
    log_pressure: float


@dataclass(slots=True)
class _Fault:
    code: str
    level: float
    """Shift of the log conductance that was last reported."""
    back: ShiftTest
    refine: deque[float]


class BoomWatch:
    """Judges each settled tick against the healthy baseline.

    The baseline is learnt at the beginning of the route. With a calibrated one (`healthy`) the
    beginning itself is judged first, so that a tip that was blocked before does not pass for
    healthy.
    """

    def __init__(self, rig: Rig, book: AlertBook, healthy: HealthyBoom | None = None) -> None:
        self._rig = rig
        self._book = book
        self._healthy = healthy
        self._smallest = min(abs(shift) for shift in _shifts(rig))
        self._began: Position | None = None
        self._tips = rig.boom.tips
        self._too_small = 0.5 * rig.thresholds.tip_share
        """In tips: half of the smallest fault that is looked for is no fault any more."""
        self._residual = Residual()
        self._noise = NoiseLevel()
        self._bank = Bank(_shifts(rig), rig.thresholds.false_alarms_per_100_h)
        self._baseline = Baseline()
        self._waiting: _Settled | None = None
        self._recent: deque[tuple[_Settled, float]] = deque(maxlen=_RECENT)
        self._fault: _Fault | None = None

    @property
    def baseline(self) -> Baseline:
        return self._baseline

    def step(self, now: Moment, *, sensors_ok: bool) -> float | None:
        """Take one tick in; return conductance relative to the baseline if it was judged."""
        waiting, self._waiting = self._waiting, None
        pressure = now.pressure_pa
        if now.phase != "spraying" or pressure is None or not sensors_ok:
            # The tick before may have seen the valve close: it is not judged. The tests are
            # frozen, not reset, so that a fault is found across short passes.
            self._residual.restart()
            self._noise.restart()
            return None
        value = self._residual.step(now.step.seconds, now.step.flow_m3_s, pressure)
        if value is not None and now.step.lost <= now.tick.samples + 1:
            self._waiting = _Settled(now.at, now.step.seconds, value, log(pressure))
            if waiting is None and now.tick.valve_open == now.tick.samples:
                # The valve's own input says that this tick lies whole within the spraying.
                waiting, self._waiting = self._waiting, None
        return self._judge(waiting, now.at) if waiting is not None else None

    def _judge(self, tick: _Settled, at: Position) -> float | None:
        """Judge a tick that is known by now to lie within the spraying; `at` is now."""
        baseline = self._baseline
        if not baseline.armed:
            self._began = self._began or tick.at
            if baseline.add(tick.log_conductance, tick.seconds):
                self._noise.expect(baseline.first)
                if self._healthy is None:
                    self._compare_with_rig_file(at)
                else:
                    self._compare_with_calibration(self._healthy, at)
            return None
        residual = tick.log_conductance - baseline.level
        self._recent.append((tick, residual))
        self._noise.add(residual, tick.seconds)
        expected = self._fault.level if self._fault is not None else 0.0
        innovation = self._noise.whiten(residual, tick.seconds, expected)
        if self._fault is not None:
            self._follow(self._fault, at, tick.seconds, innovation, residual)
        elif innovation is not None:
            density = self._noise.density_s
            known_to = sqrt(density / baseline.seconds)
            alarm = self._bank.step(innovation, density, known_to)
            if alarm is not None:
                self._raise(at, alarm)
            elif baseline.learning and self._bank.quiet:
                baseline.add(tick.log_conductance, tick.seconds)
        return exp(residual)

    def _raise(self, at: Position, alarm: Alarm) -> None:
        since, level, seconds = self._since_onset(alarm)
        code = "tip_blocked" if alarm.shift < 0 else "boom_leak"
        if alarm.shift > 0 and self._looks_doubled(level, alarm.seconds):
            code = "meter_double"
        size, text = self._describe(code, level, seconds)
        details = {"evidence_nats": round(alarm.evidence, 1), "shift_log": round(level, 4)}
        self._book.open(code, at, since, text, size, details)
        self._fault = _Fault(code, level, ShiftTest(-level), deque(maxlen=_REFINE))
        self._bank.reset()

    def _since_onset(self, alarm: Alarm) -> tuple[Position, float, float]:
        """Onset, mean residual and duration since, over the ticks since the last zero."""
        total = spent = 0.0
        since = self._recent[-1][0].at
        for tick, residual in reversed(self._recent):
            if spent + 1e-9 >= alarm.seconds:
                break
            total += residual * tick.seconds
            spent += tick.seconds
            since = tick.at
        # The first tick lies across the onset: it counts for the time, not for the size.
        first, residual = self._recent[max(0, len(self._recent) - round(alarm.seconds / 0.5))]
        if spent > 0.75 and first.at == since:
            total -= residual * first.seconds
            spent -= first.seconds
        return since, total / spent, spent

    def _follow(
        self,
        fault: _Fault,
        at: Position,
        seconds: float,
        innovation: Innovation | None,
        residual: float,
    ) -> None:
        if innovation is not None:
            # The test for the way back sees the fault's level as its zero.
            news = innovation.news - innovation.rest * fault.level
            fault.back.step(innovation._replace(residual=residual - fault.level, news=news))
        if fault.back.crossed(_CLEAR_NATS):
            self._clear(fault, at)
            return
        fault.refine.append(residual)
        if len(fault.refine) < _REFINE:
            return
        level = sum(fault.refine) / _REFINE
        half = _REFINE // 2
        parts = list(fault.refine)
        settled = abs(sum(parts[:half]) - sum(parts[half:])) / half < 0.25 * _one_tip(self._tips)
        moved = abs(self._in_tips(level) - self._in_tips(fault.level))
        if settled and abs(self._in_tips(level)) < self._too_small:
            # It went away too slowly for the test of the way back, which looks for a whole one.
            self._clear(fault, at)
        elif settled and moved >= _GROW_TIPS and level * fault.level > 0.0:
            before = self._words(fault.code, fault.level)
            size, text = self._describe(fault.code, level, _REFINE * seconds)
            self._book.grow(fault.code, at, f"{text} It was {before}.", size)
            self._fault = _Fault(fault.code, level, ShiftTest(-level), deque(maxlen=_REFINE))

    def _clear(self, fault: _Fault, at: Position) -> None:
        text = "The boom passes what its healthy baseline says again."
        self._book.clear(fault.code, at, text)
        self._fault = None
        self._bank.reset()

    def _looks_doubled(self, level: float, seconds: float) -> bool:
        """Twice the pulses at an unmoved pressure: no leak can do that."""
        if abs(level - _DOUBLE) > 0.1:
            return False
        count = round(seconds / 0.5)
        ticks = [tick.log_pressure for tick, _ in self._recent]
        before, after = ticks[: -count - 1], ticks[-count:]
        if not before or not after:
            return False
        return abs(sum(after) / len(after) - sum(before) / len(before)) < 0.05

    def _in_tips(self, level: float) -> float:
        return blocked_tips(self._tips, level)

    def _describe(self, code: str, level: float, seconds: float) -> tuple[Size, str]:
        """Size with its 95 % interval, and the sentence that says so."""
        density = self._noise.density_s
        spread = 1.96 * sqrt(density / seconds + density / self._baseline.seconds)
        percent = 100.0 * (exp(level) - 1.0)
        if code == "tip_blocked":
            value, low, high = (self._in_tips(level + d) for d in (0.0, spread, -spread))
            low, high = max(0.0, low), min(float(self._tips), high)
            words = self._words(code, level)
            text = (
                f"{words} of {self._tips} blocked ({low:.1f} to {high:.1f}): the boom passes "
                f"{-percent:.0f} % less than its healthy baseline at the same pressure."
            )
            if self._rig.gauge.place == "before strainer":
                text += " The strainer behind the gauge does the same."
            return Size(value, "tips", low, high), text
        low, high = (100.0 * (exp(level + d) - 1.0) for d in (-spread, spread))
        text = (
            f"The boom passes {percent:.0f} % ({low:.0f} to {high:.0f}) more than its healthy "
            "baseline at the same pressure."
        )
        if code == "meter_double":
            text = "The flow sensor's pulses doubled and the pressure did not move."
        return Size(percent, "%", low, high), text

    def _words(self, code: str, level: float) -> str:
        if code == "tip_blocked":
            tips = self._in_tips(level)
            return f"{tips:.1f} {'tip' if tips < 1.05 else 'tips'}"
        return f"{100.0 * (exp(level) - 1.0):.0f} %"

    def _compare_with_calibration(self, healthy: HealthyBoom, at: Position) -> None:
        """Judge the route's beginning, which is about to be taken as healthy."""
        density = self._rig.work.carrier_relative_density
        calibrated = healthy.log_conductance + carrier_log_shift(density)
        level = self._baseline.level - calibrated
        known = self._noise.density_s / self._baseline.seconds
        spread = sqrt(healthy.u**2 + _DAY_TO_DAY**2 + known)
        if abs(level) < max(0.5 * self._smallest, 3.0 * spread):
            return
        code = "tip_blocked" if level < 0.0 else "boom_leak"
        seconds = self._baseline.seconds
        self._baseline.hold(calibrated)
        size, text = self._describe(code, level, seconds)
        text += " So it began; the baseline is the calibrated one."
        if density != 1.0 or level > 0.0:
            text += " Another density of the mix than the rig file's would look alike."
        self._book.open(code, at, self._began or at, text, size, {"shift_log": round(level, 4)})
        self._fault = _Fault(code, level, ShiftTest(-level), deque(maxlen=_REFINE))

    def _compare_with_rig_file(self, at: Position) -> None:
        off = exp(self._baseline.level) / self._rig.nominal_conductance - 1.0
        if abs(off) > _UNEXPECTED:
            text = (
                f"The boom passes {abs(100 * off):.0f} % {'less' if off < 0 else 'more'} than "
                f"{self._tips} new tips of the rig file would at this pressure. What it passes "
                "now is taken as healthy."
            )
            self._book.note("boom_unexpected", at, at, text, Size(100 * off, "%"))


def _one_tip(tips: int) -> float:
    """Size of the shift that one blocked tip makes in log conductance."""
    return -blocked_tip_log_shift(tips, 1.0) if tips > 1 else 1.0


def _shifts(rig: Rig) -> list[float]:
    """The shifts that the bank looks for: blocked parts of tips, and a boom that leaks."""
    tips = rig.boom.tips
    sizes = sorted({rig.thresholds.tip_share, 1.0, 2.0})
    blocked = [blocked_tip_log_shift(tips, size) for size in sizes if size < tips - 0.5]
    return [*blocked, log(1.0 + max(0.08, 1.0 / tips)), log(1.5)]
