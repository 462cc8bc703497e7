"""From measured ticks to readings and events: the phase of the boom, then rule after rule.

Ticks go through the rules one by one where something may turn, and many at once where all rules
see that nothing does (`flowlog.monitor.rules.stretch`). The boom's rule says itself which of those
it judges one by one.
"""

from __future__ import annotations

from flowlog.monitor.alerts import AlertBook
from flowlog.monitor.closer import Closer
from flowlog.monitor.conductance import law_of
from flowlog.monitor.evidence import Watcher
from flowlog.monitor.motion import Step, Steps
from flowlog.monitor.outputs import Position, Reading
from flowlog.monitor.phase import PhaseFinder
from flowlog.monitor.readings import ReadingMaker
from flowlog.monitor.rules.bands import PressureBand, RateBand
from flowlog.monitor.rules.boom import BoomWatch
from flowlog.monitor.rules.data import DataFaults
from flowlog.monitor.rules.gauge_drift import GaugeDrift
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.sensors import GaugeFaults, MeterFaults
from flowlog.monitor.rules.stretch import Stretch
from flowlog.monitor.rules.supply import TankLevel
from flowlog.monitor.sample_faults import Onset
from flowlog.monitor.sensors import PressureGauge
from flowlog.monitor.settling import SettleTime
from flowlog.monitor.stream import TankFill
from flowlog.monitor.ticks import DOUBTFUL_GAUGE, DOUBTFUL_METER, Tick, TickTable, ticks_of
from flowlog.rig.model import HealthyBoom, Rig

WORTH_A_STRETCH = 12
"""Ticks; fewer are quicker one by one."""
_CAREFUL = 6
_MOST_CAREFUL = 96
"""Ticks that go one by one where something may turn, before many are tried again: more each time
that it was in vain, as while a sensor is broken."""

_ADC = [Tick._fields.index(name) for name in ("adc_sum", "adc_n", "adc_min", "adc_max")]


class Judge:
    """All rules of one rig, and what they know so far."""

    def __init__(self, rig: Rig, book: AlertBook, baseline: HealthyBoom | None) -> None:
        self.gauge: PressureGauge | None = None
        """None while the board has not said what its ADC is, or has no gauge."""
        self.data = DataFaults(rig, book)
        self.readings = ReadingMaker()
        self._width_m = rig.boom.effective_width_m
        self._settle = SettleTime(baseline, law_of(baseline))
        self._phase = PhaseFinder(rig, self._settle.settle_s)
        self._meter_faults = MeterFaults(rig, book)
        self._gauge_faults = GaugeFaults(rig, book)
        self._pressure_band = PressureBand(rig, book)
        self._rate_band = RateBand(rig, book)
        self._tank = TankLevel(rig, book)
        self.closer = Closer(rig, law_of(baseline))
        self._boom = BoomWatch(rig, book, baseline, self.closer)
        self._gauge_drift = GaugeDrift(rig, book, self._boom)
        self._careful = _CAREFUL

    @property
    def tank_m3(self) -> float | None:
        """What is left in the tank; None where the rig has none."""
        return self._tank.left_m3

    def fill(self, at: Position, fill: TankFill) -> None:
        """The tank holds another volume from here on, and another mix unless it was carried."""
        self._tank.fill(at, fill.volume_m3)
        if not fill.carried:
            self._boom.fill()

    def onset(self, onset: Onset) -> None:
        """A sensor broke, at a sample that lies in none of the ticks so far."""
        if onset.code == "meter_silent":
            self._meter_faults.silent(onset)
        else:
            self._gauge_faults.at_rail(onset)

    def watch(self, watcher: Watcher) -> None:
        """Tell `watcher` of every tick that the boom is judged by."""
        self._boom.watch(watcher)

    def step(self, at: Position, tick: Tick, step: Step) -> list[Reading]:
        """Take one tick in; return the readings that it completes."""
        pressure = None
        if self.gauge is not None:
            pressure = self.gauge.read(tick.adc_sum, tick.adc_n, tick.adc_min, tick.adc_max)
        gauge_in_doubt = tick.doubt & DOUBTFUL_GAUGE
        whole = pressure is not None and pressure.state == "ok" and not gauge_in_doubt
        pressure_pa = pressure.mean_pa if pressure is not None and whole else None
        trusted_pa = pressure_pa if self._gauge_faults.ok else None
        phase = self._phase.step(tick, step.seconds, step.mean_flow_m3_s, trusted_pa)
        area = self._width_m * step.distance_m * self._phase.open_share
        valve = tick.valve_open * 2 > tick.valve_known if tick.valve_known else None
        now = Moment(at, tick, step, phase, pressure, pressure_pa, area, valve)

        self.data.step(now)
        self._meter_faults.step(now)
        self._gauge_faults.step(now)
        self._gauge_drift.step(now, whole=self._gauge_faults.whole)
        meter_ok = self._meter_faults.ok and not tick.doubt & DOUBTFUL_METER
        sensors_ok = meter_ok and self._gauge_faults.ok and not gauge_in_doubt
        self._settle.step(now, sensors_ok=sensors_ok)
        self._phase.settle_s = self._settle.settle_s
        share = self._boom.step(now, sensors_ok=sensors_ok)
        if self._gauge_faults.ok:
            self._pressure_band.step(now)
        self._rate_band.step(now, meter_ok=meter_ok)
        self._tank.step(now)
        return self.readings.step(now, share, self._tank.left_m3)

    def steps(self, at: list[Position], ticks: TickTable, steps: Steps) -> list[Reading]:
        """Take many ticks in, all of one segment; the same as `step` for each."""
        readings: list[Reading] = []
        begin, n = 0, len(at)
        while begin < n:
            rest = slice(begin, None)
            ahead = self._calm(at[rest], ticks[:, rest], steps[rest])
            if ahead is not None:
                readings += self._go_on(ahead)
                begin += len(ahead)
                self._careful = _CAREFUL
            if begin < n:
                part = slice(begin, begin + self._careful)
                rows = zip(at[part], ticks_of(ticks[:, part]), steps[part].rows(), strict=True)
                for row in rows:
                    readings += self.step(*row)
                begin += self._careful
                self._careful = min(2 * self._careful, _MOST_CAREFUL)
        return readings

    def _calm(self, at: list[Position], ticks: TickTable, steps: Steps) -> Stretch | None:
        """As many of these ticks as pass without a turn; None if that is not worth it."""
        ahead = self._ahead(at, ticks, steps)
        while ahead is not None:
            calm = min(
                self._settle.look(ahead),
                self.data.look(ahead),
                self._meter_faults.look(ahead),
                self._gauge_faults.look(ahead),
                self._gauge_drift.look(ahead),
                self._pressure_band.look(ahead),
                self._rate_band.look(ahead),
                self._tank.look(ahead),
                self.readings.look(ahead),
            )
            if calm == len(ahead):
                break
            part = slice(calm)
            few = calm < WORTH_A_STRETCH
            ahead = None if few else self._ahead(at[part], ticks[:, part], steps[part])
        return ahead

    def _ahead(self, at: list[Position], ticks: TickTable, steps: Steps) -> Stretch | None:
        pressures = self.gauge.read_all(*ticks[_ADC]) if self.gauge is not None else None
        pressure_pa = pressures.mean_pa if pressures is not None else None
        phases = self._phase.look(ticks, steps, pressure_pa)
        if phases is None:
            return None
        area = self._width_m * steps.distance_m * phases.open_share
        return Stretch(at, ticks, steps, pressures, phases, area)

    def _go_on(self, ahead: Stretch) -> list[Reading]:
        """Take in ticks that all rules have looked at."""
        self._phase.go_on(ahead.phases)
        self._settle.go_on()
        self._phase.settle_s = self._settle.settle_s
        self.data.go_on()
        self._gauge_faults.go_on()
        self._gauge_drift.go_on()
        shares = self._boom.go_on(ahead)
        self._pressure_band.go_on()
        self._rate_band.go_on()
        return self.readings.go_on(ahead, shares, self._tank.go_on())
