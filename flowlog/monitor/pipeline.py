"""The one pipeline: samples in, readings and events out, live and in replay alike.

decode -> unwrap -> ticks -> flow and pressure -> phase -> rate, area, volume, tank
-> rules -> readings and events

The pipeline knows no port, file, clock or database. Everything before the ticks is integer
arithmetic, everything after them runs tick by tick: however a stream is cut into blocks, the
readings and events are the same to the last bit.
"""

from __future__ import annotations

from flowlog.monitor.alerts import AlertBook
from flowlog.monitor.motion import Motion
from flowlog.monitor.outputs import Output, Position
from flowlog.monitor.phase import PhaseFinder
from flowlog.monitor.readings import ReadingMaker
from flowlog.monitor.rules.bands import PressureBand, RateBand
from flowlog.monitor.rules.boom import BoomWatch
from flowlog.monitor.rules.data import DataFaults
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.sensors import GaugeFaults, MeterFaults
from flowlog.monitor.rules.supply import TankLevel
from flowlog.monitor.sensors import Pressure, PressureGauge
from flowlog.monitor.stream import StreamItem, TankFill
from flowlog.monitor.ticks import Tick, TickGatherer
from flowlog.rig.model import HealthyBoom, Rig
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples
from flowlog.wire.unwrap import Break, Unwrapper

_PERIOD_US = 100_000
"""Until the board says otherwise."""

_FASTEST_HZ = 20_000.0
"""No input of such a board counts faster. Far above any meter on purpose: pulses from ignition
noise are believed here and called implausible by a rule, while a line that was damaged and passed
its check by chance, with counts anywhere in 32 bits, is still told from them."""


class Monitor:
    """Everything that is derived from one route's stream.

    Feed it the stream from the route's beginning, in blocks of any size.

    Args:
        rig: The rig, calibrations applied.
        baseline: What its boom passes when healthy, if that was calibrated.
    """

    def __init__(self, rig: Rig, baseline: HealthyBoom | None = None) -> None:
        self._rig = rig
        self._book = AlertBook()
        self._period_us = _PERIOD_US
        self._unwrapper = Unwrapper(_PERIOD_US, _FASTEST_HZ)
        self._ticks = TickGatherer(_PERIOD_US)
        self._motion = Motion(rig)
        self._gauge: PressureGauge | None = None
        self._phase = PhaseFinder(rig)
        self._breaks: dict[int, Break] = {}
        self._segment: int | None = None
        self._at = Position(0, 0, 0)

        self._meter_faults = MeterFaults(rig, self._book)
        self._gauge_faults = GaugeFaults(rig, self._book)
        self._pressure_band = PressureBand(rig, self._book)
        self._rate_band = RateBand(rig, self._book)
        self._boom = BoomWatch(rig, self._book, baseline)
        self._tank = TankLevel(rig, self._book)
        self._data = DataFaults(rig, self._book)
        self._readings = ReadingMaker()

    def feed(self, item: StreamItem) -> Output:
        """Take in what comes next in the stream; return what follows from it, in order."""
        out = Output()
        if isinstance(item, Samples):
            unwrapped = self._unwrapper.feed(item)
            for found in unwrapped.breaks:
                self._breaks[found.segment] = found
            self._run(self._ticks.feed(unwrapped.table), out)
        elif isinstance(item, Hello):
            self._hello(item, out)
        else:
            self._fill(item)
        out.events += self._book.take()
        return out

    def finish(self) -> Output:
        """The stream ends: close the tick and the second that are open."""
        out = Output()
        self._run(self._ticks.take_unfinished(), out)
        out.readings += self._readings.take()
        out.events += self._book.take()
        return out

    def _hello(self, hello: Hello, out: Output) -> None:
        period_us = hello.period_ms * 1000
        if period_us != self._period_us:
            self._run(self._ticks.take_unfinished(), out)
            self._period_us = period_us
            self._unwrapper.period_us = period_us
            self._ticks.set_period(period_us)
        self._gauge = (
            PressureGauge(self._rig.gauge, hello.adc_bits) if "P" in hello.channels else None
        )
        self._data.hello(self._at, hello)

    def _fill(self, fill: TankFill) -> None:
        self._tank.fill(self._at, fill.volume_m3)
        self._boom.fill()

    def _run(self, ticks: list[Tick], out: Output) -> None:
        for tick in ticks:
            self._step(tick, out)

    def _step(self, tick: Tick, out: Output) -> None:
        at = Position(tick.segment, tick.seq, tick.t_us)
        self._at = at
        if tick.segment != self._segment:
            self._begin_segment(tick.segment, at)
        step = self._motion.step(tick)
        if step is None:
            return
        pressure = self._pressure(tick)
        pressure_pa = pressure.mean_pa if pressure and pressure.state == "ok" else None
        trusted_pa = pressure_pa if self._gauge_faults.ok else None
        phase = self._phase.step(tick, step.seconds, step.mean_flow_m3_s, trusted_pa)
        area = self._rig.boom.effective_width_m * step.distance_m * self._phase.open_share
        valve = tick.valve_open * 2 > tick.valve_known if tick.valve_known else None
        now = Moment(at, tick, step, phase, pressure, pressure_pa, area, valve)

        self._data.step(now)
        self._meter_faults.step(now)
        self._gauge_faults.step(now)
        sensors_ok = self._meter_faults.ok and self._gauge_faults.ok
        share = self._boom.step(now, sensors_ok=sensors_ok)
        if self._gauge_faults.ok:
            self._pressure_band.step(now)
        self._rate_band.step(now, meter_ok=self._meter_faults.ok)
        self._tank.step(now)
        out.readings += self._readings.step(now, share, self._tank.left_m3)

    def _pressure(self, tick: Tick) -> Pressure | None:
        if self._gauge is None:
            return None
        return self._gauge.read(tick.adc_sum, tick.adc_n, tick.adc_min, tick.adc_max)

    def _begin_segment(self, segment: int, at: Position) -> None:
        first, self._segment = self._segment is None, segment
        found = self._breaks.pop(segment, None)
        if first or found is None:
            self._motion.restart(counters_from_zero=False)
            return
        reset = found.kind == "reset"
        self._motion.restart(counters_from_zero=reset)
        if reset:
            self._data.reset(at, found.boot)
        else:
            self._data.jump(at)
