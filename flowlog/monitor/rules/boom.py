"""The boom's conductance, tick by tick: its level, its noise, the tests for a shift of it.

What a test that crosses means for the alert about the boom, and what becomes of an open one, is
`flowlog.monitor.rules.boom_alert`.
"""

from __future__ import annotations

from math import exp, log, sqrt
from typing import NamedTuple

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.closer import Closer
from flowlog.monitor.conductance import Baseline, Residual, law_of
from flowlog.monitor.cusum import Bank
from flowlog.monitor.diagnosis import Signs, weigh
from flowlog.monitor.evidence import Evidence, Test, Watcher
from flowlog.monitor.noise import NoiseLevel
from flowlog.monitor.outputs import Position
from flowlog.monitor.phase import CHECK_VALVE_PA
from flowlog.monitor.rules.boom_alert import BoomAlert
from flowlog.monitor.rules.boom_fault import OpenFault
from flowlog.monitor.rules.boom_sizes import least_shift, shifts
from flowlog.monitor.rules.boom_words import describe, details_of
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.recent import RecentTicks
from flowlog.monitor.rules.stretch import Stretch
from flowlog.monitor.rules.supply_point import SupplyWatch
from flowlog.monitor.rules.valve import ValveWatch
from flowlog.monitor.supply import SupplyPoint, answers_of
from flowlog.physics.carrier import carrier_log_shift
from flowlog.rig.model import HealthyBoom, Rig

_PAUSE_S = 60.0
"""With the boom shut for as long, the tank may have been filled with another mix. Turns take 8 to
20 s."""
_SHUT = ("off", "draining")
_DAY_TO_DAY = 0.0075
"""How well the conductance of a healthy boom repeats: meter and gauge 0.5 % each, temperature the
rest (an uncertainty budget of repeatability alone; common practice, no source)."""
_UNEXPECTED = 0.2
"""Meter, gauge and tips out of the box are each good to 5 to 10 %: a boom that differs from the
rig file by more than a fifth differs in something else."""
_LEAST_SHARE = 0.6
"""Of the tips' lowest pressure, or what their check valves open at: below, tips shut by themselves,
and what the boom passes says nothing about them."""
_DRIFTED = 0.03
"""Log conductance: a third of the wear at which a set of tips is replaced."""


class _Settled(NamedTuple):
    """One tick of settled spraying, waiting for the next to confirm that the boom stayed open."""

    at: Position
    seconds: float
    log_conductance: float
    log_pressure: float


class BoomWatch:
    """Judges each settled tick against the healthy baseline.

    The baseline is learnt at the beginning of the route. With a calibrated one (`healthy`) the
    beginning itself is judged first, so that a tip that was blocked before does not pass for
    healthy.
    """

    def __init__(
        self,
        rig: Rig,
        book: AlertBook,
        healthy: HealthyBoom | None = None,
        closer: Closer | None = None,
    ) -> None:
        self._rig = rig
        self._book = book
        self._healthy = healthy
        self._tips = rig.boom.tips
        self._began: Position | None = None
        self._exponent = law_of(healthy).exponent
        self._residual = Residual(law_of(healthy))
        self.noise = NoiseLevel()
        self.supply = SupplyPoint()
        self.bank = Bank(shifts(rig), rig.thresholds.false_alarms_per_100_h)
        self.baseline = Baseline()
        self._waiting: _Settled | None = None
        self._recent = RecentTicks(
            self._tips,
            answers_of(rig.answer),
            self.noise,
            self.supply,
            self.baseline,
            closer or Closer(rig),
        )
        self._alert = BoomAlert(rig, book, self.noise, self.bank, self.baseline, self._recent)
        self._least_log = log(min(CHECK_VALVE_PA, _LEAST_SHARE * rig.boom.pressure_low_pa))
        self._shut_s = 0.0
        self._drifting = False
        self._supply_watch = SupplyWatch(book)
        self._valve = ValveWatch(rig, book)
        self.watcher: Watcher | None = None
        """Told of every judged tick, for explanations."""

    def fill(self) -> None:
        """The tank was filled: what is sprayed from now on may be another mix."""
        self._recent.since_pause_s = 0.0

    def yield_to_gauge(self, log_off: float, sd: float, good: Position | None) -> str | None:
        """The gauge reads too high since `good`; see `flowlog.monitor.rules.gauge_drift.Boom`."""
        return self._alert.yield_to_gauge(-self._exponent * log_off, self._exponent * sd, good)

    def gauge_is_back(self, at: Position, text: str) -> bool:
        """It reads right again."""
        return self._alert.gauge_is_back(at, text)

    def step(self, now: Moment, *, sensors_ok: bool) -> float | None:
        """Take one tick in; return conductance relative to the baseline if it was judged."""
        self._valve.step(now)
        pressure = now.pressure_pa
        step, tick = now.step, now.tick
        if now.phase != "spraying" or pressure is None or not sensors_ok:
            self._interrupt()
            if now.phase in _SHUT:
                self._shut_s += step.seconds
            return None
        few_lost = step.lost <= tick.samples + 1
        inside = tick.valve_open == tick.samples
        return self._settled(now.at, step.seconds, step.flow_m3_s, pressure, few_lost, inside)

    def go_on(self, ahead: Stretch) -> list[float | None]:
        """`step` for each of many ticks with whole sensors: what it returns."""
        valve, steps = self._valve, ahead.steps
        pressure_pa = ahead.pressure_pa
        blind = pressure_pa is None
        samples = ahead.column("samples")
        columns = (
            range(len(ahead)),
            valve.odd(ahead),
            ahead.phases.names,
            ahead.at,
            steps.seconds.tolist(),
            steps.flow_m3_s.tolist(),
            [0.0] * len(ahead) if pressure_pa is None else pressure_pa.tolist(),
            (steps.lost <= samples + 1).tolist(),
            (ahead.column("valve_open") == samples).tolist(),
        )
        shares: list[float | None] = []
        running = True
        rows = zip(*columns, strict=True)
        for i, odd, phase, at, seconds, flow, pressure, few_lost, inside in rows:
            if odd or valve.busy:
                valve.step(ahead.moment(i))
            if phase == "spraying" and not blind:
                shares.append(self._settled(at, seconds, flow, pressure, few_lost, inside))
                running = True
                continue
            if running:
                self._interrupt()
                running = False
            if phase in _SHUT:
                self._shut_s += seconds
            shares.append(None)
        return shares

    def _interrupt(self) -> None:
        """No settled spraying, or none that can be judged.

        The tick before may have seen the valve close: it is not judged. The tests are frozen, not
        reset, so that a fault is found across short passes.
        """
        self._waiting = None
        self._residual.restart()
        self.noise.restart()
        self.supply.restart()

    def _settled(
        self,
        at: Position,
        seconds: float,
        flow_m3_s: float,
        pressure_pa: float,
        few_lost: bool,
        inside: bool,
    ) -> float | None:
        """Take in a tick of settled spraying.

        `inside`: the valve's own input says that it lies whole within the spraying.
        """
        if self._shut_s > 0.0:
            if self._shut_s >= _PAUSE_S:
                self._recent.since_pause_s = 0.0
            self._shut_s = 0.0
        waiting, self._waiting = self._waiting, None
        value = self._residual.step(seconds, flow_m3_s, pressure_pa)
        if value is not None and few_lost:
            tick = tuple.__new__(_Settled, (at, seconds, value, log(pressure_pa)))
            if waiting is None and inside:
                waiting = tick
            else:
                self._waiting = tick
        return self._judge(waiting, at) if waiting is not None else None

    def _judge(self, tick: _Settled, said: Position) -> float | None:
        """Judge a tick that is known by now to lie within the spraying; `said` is now."""
        at, seconds, log_conductance, log_pressure = tick
        baseline, noise, fault = self.baseline, self.noise, self._alert.fault
        self.supply.step(log_pressure)
        self._recent.since_pause_s += seconds
        if not baseline.armed:
            self._began = self._began or at
            if baseline.add(log_conductance, seconds):
                noise.expect(baseline.first)
                if self._healthy is None:
                    self._compare_with_rig_file(said)
                else:
                    self._compare_with_calibration(self._healthy, said)
            return None
        residual = log_conductance - baseline.level
        noise.add(residual, seconds)
        expected = fault.level if fault is not None else 0.0
        innovation = noise.whiten(residual, seconds, expected)
        news = jump = None
        if innovation is not None:
            _, news, rest, _, _ = innovation
            # A lasting shift that is known of is no jump.
            jump = news - rest * expected
        self._recent.add(at, residual, news)
        busy = fault is not None
        if self._supply_watch.step(at, said, log_pressure, jump, noise.usual, boom_busy=busy):
            self._alert.become_air(said, self._supply_watch.wild_since())
        if self._supply_watch.drawing_air:
            # Then there is nothing to judge here.
            return None
        if log_pressure < self._least_log:
            return None
        if fault is not None:
            turn = fault.step(innovation, residual, noise)
            if turn is not None:
                self._alert.turn(fault, turn, said, restless=self._supply_watch.restless)
        elif innovation is not None:
            density = noise.density_s
            known_to = sqrt(density / baseline.seconds)
            alarm = self.bank.step(innovation, density, known_to, self._recent.confirms)
            if alarm is not None:
                self._alert.open(said, alarm)
            elif self.bank.quiet:
                baseline.add(log_conductance, seconds)
                if not self._drifting:
                    self._watch_drift(said)
        if self.watcher is not None:
            self.watcher(self._evidence(tick, said, residual))
        return exp(residual)

    def _evidence(self, tick: _Settled, at: Position, residual: float) -> Evidence:
        fault = self._alert.fault
        return Evidence(
            at=tick.at,
            said=at,
            seconds=tick.seconds,
            residual=residual,
            level=self.baseline.level,
            log_pressure=tick.log_pressure,
            density_s=self.noise.density_s,
            roughness=self.noise.roughness,
            tests=() if fault else tuple(Test(*state) for state in self.bank.state()),
            fault_level=fault.level if fault else None,
        )

    def _watch_drift(self, at: Position) -> None:
        """Wear and slow clogging: the tracked level against what was learnt first."""
        anchor = self.baseline.anchor
        if anchor is None:
            return
        drift = self.baseline.level - anchor
        if abs(drift) < _DRIFTED:
            return
        self._drifting = True
        percent = 100.0 * (exp(drift) - 1.0)
        text = (
            f"Bit by bit the boom has come to pass {abs(percent):.0f} % "
            f"{'more' if drift > 0.0 else 'less'} than at first, at the same pressure. "
            "The baseline has gone stale: calibrate it again."
        )
        self._book.note("boom_drift", at, at, text, Size(percent, "%"))

    # -- the beginning -----------------------------------------------------------------------

    def _compare_with_calibration(self, healthy: HealthyBoom, at: Position) -> None:
        """Judge the route's beginning, which is about to be taken as healthy."""
        density = self._rig.work.carrier_relative_density
        calibrated = healthy.log_conductance + carrier_log_shift(density)
        level = self.baseline.level - calibrated
        known = self.noise.density_s / self.baseline.seconds
        spread = sqrt(healthy.u**2 + _DAY_TO_DAY**2 + known)
        if abs(level) < max(0.5 * least_shift(self._rig, -1.0), 3.0 * spread):
            return
        began = self._began or at
        classes = weigh(Signs(self._tips, level, spread, None, None, after_pause=True))
        code = next(iter(classes))
        if code == "mix_changed":
            self.baseline.hold(calibrated, self.baseline.seconds)
            self._alert.take_mix(at, began, level, spread, classes)
            return
        self.baseline.hold(calibrated)
        size, text = describe(self._rig, code, level, spread, classes)
        text += " So it began; the baseline is the calibrated one."
        if density != 1.0 or level > 0.0:
            text += " Another density of the mix than the rig file's would look alike."
        details = details_of(code, level, 0.0, classes)
        self._alert.begin(code, at, began, text, size, details, classes)
        fault = OpenFault(code, level, [level], self._tips, least_shift(self._rig, level))
        fault.classes = fault.smooth = classes
        self._alert.fault = fault

    def _compare_with_rig_file(self, at: Position) -> None:
        off = exp(self.baseline.level) / self._rig.nominal_conductance - 1.0
        if abs(off) > _UNEXPECTED:
            text = (
                f"The boom passes {abs(100 * off):.0f} % {'less' if off < 0 else 'more'} than "
                f"{self._tips} new tips of the rig file would at this pressure. What it passes "
                "now is taken as healthy."
            )
            self._book.note("boom_unexpected", at, at, text, Size(100 * off, "%"))
