"""What a route begins with: a healthy boom, or one that another day would have called clogged."""

from __future__ import annotations

from math import exp, sqrt

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.conductance import Baseline
from flowlog.monitor.diagnosis import Signs, weigh
from flowlog.monitor.noise import NoiseLevel
from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.boom_alert import BoomAlert
from flowlog.monitor.rules.boom_fault import OpenFault
from flowlog.monitor.rules.boom_sizes import least_shift
from flowlog.monitor.rules.boom_words import describe, details_of
from flowlog.monitor.rules.settled import Settled
from flowlog.physics.carrier import carrier_log_shift
from flowlog.rig.model import HealthyBoom, Rig

_DAY_TO_DAY = 0.0075
"""How well the conductance of a healthy boom repeats: meter and gauge 0.5 % each, temperature the
rest (an uncertainty budget of repeatability alone; common practice, no source)."""
_UNEXPECTED = 0.2
"""Meter, gauge and tips out of the box are each good to 5 to 10 %: a boom that differs from the
rig file by more than a fifth differs in something else."""


class BoomStart:
    """Arms the baseline on the first settled spraying of a route.

    With a calibrated one (`healthy`) the beginning itself is judged, so that a tip that was blocked
    before does not pass for healthy.
    """

    def __init__(
        self,
        rig: Rig,
        book: AlertBook,
        healthy: HealthyBoom | None,
        noise: NoiseLevel,
        baseline: Baseline,
        alert: BoomAlert,
    ) -> None:
        self._rig = rig
        self._book = book
        self._healthy = healthy
        self._noise = noise
        self._baseline = baseline
        self._alert = alert
        self._tips = rig.boom.tips
        self._began: Position | None = None

    def step(self, tick: Settled, said: Position) -> None:
        """Take in one of the first ticks; `said` is now."""
        began = self._began = self._began or tick.at
        if self._baseline.arm(tick.log_conductance, tick.seconds):
            self._noise.expect(self._baseline.first)
            if self._healthy is None:
                self._compare_with_rig_file(said)
            else:
                self._compare_with_calibration(self._healthy, said, began)

    def _compare_with_calibration(
        self, healthy: HealthyBoom, at: Position, began: Position
    ) -> None:
        """Judge the route's beginning, which is about to be taken as healthy."""
        density = self._rig.work.carrier_relative_density
        calibrated = healthy.log_conductance + carrier_log_shift(density)
        level = self._baseline.level - calibrated
        known = self._noise.density_s / self._baseline.seconds
        spread = sqrt(healthy.u**2 + _DAY_TO_DAY**2 + known)
        if abs(level) < max(0.5 * least_shift(self._rig, -1.0), 3.0 * spread):
            return
        classes = weigh(Signs(self._tips, level, spread, None, None, after_pause=True))
        code = next(iter(classes))
        if code == "mix_changed":
            self._baseline.hold(calibrated, self._baseline.seconds)
            self._alert.take_mix(at, began, level, spread, classes)
            return
        self._baseline.hold(calibrated)
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
        off = exp(self._baseline.level) / self._rig.nominal_conductance - 1.0
        if abs(off) > _UNEXPECTED:
            text = (
                f"The boom passes {abs(100 * off):.0f} % {'less' if off < 0 else 'more'} than "
                f"{self._tips} new tips of the rig file would at this pressure. What it passes "
                "now is taken as healthy."
            )
            self._book.note("boom_unexpected", at, at, text, Size(100 * off, "%"))
