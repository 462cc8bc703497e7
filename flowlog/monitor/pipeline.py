"""The one pipeline: samples in, readings and events out, live and in replay alike.

decode -> unwrap -> broken sensors -> ticks -> flow and pressure -> phase -> rate, area, volume,
tank -> rules -> readings and events

The pipeline knows no port, file, clock or database. Everything before the ticks is integer
arithmetic, and everything after them is done to each tick in the same order, one by one or many
at once: however a stream is cut into blocks, the readings and events are the same to the last bit.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from flowlog.monitor.alerts import AlertBook
from flowlog.monitor.evidence import Watcher
from flowlog.monitor.judge import WORTH_A_STRETCH, Judge
from flowlog.monitor.motion import Motion
from flowlog.monitor.outputs import Output, Position
from flowlog.monitor.sample_faults import SampleWatch
from flowlog.monitor.sensors import PressureGauge
from flowlog.monitor.stream import StreamItem
from flowlog.monitor.ticks import Tick, TickGatherer, TickTable, rows_of, ticks_of
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

_LONGEST_STRETCH = 1024
"""Ticks that stay in the processor's cache."""

_SEGMENT = Tick._fields.index("segment")
_SEQ = Tick._fields.index("seq")
_POSITION = [Tick._fields.index(name) for name in Position._fields]


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
        self._watch = SampleWatch(rig, _PERIOD_US)
        self._motion = Motion(rig)
        self._judge = Judge(rig, self._book, baseline)
        self._breaks: dict[int, Break] = {}
        self._segment: int | None = None
        self._at = Position(0, 0, 0)

    def feed(self, item: StreamItem) -> Output:
        """Take in what comes next in the stream; return what follows from it, in order."""
        out = Output()
        if isinstance(item, Samples):
            unwrapped = self._unwrapper.feed(item)
            for found in unwrapped.breaks:
                self._breaks[found.segment] = found
            self._judge.closer.window.add(unwrapped.table)
            onsets, doubt = self._watch.look(unwrapped.table)
            ticks = self._ticks.gather(unwrapped.table, doubt)
            for onset in onsets:
                before = _before(ticks, onset.at)
                self._run(ticks[:, :before], out)
                ticks = ticks[:, before:]
                self._judge.onset(onset)
            self._run(ticks, out)
        elif isinstance(item, Hello):
            self._hello(item, out)
        else:
            self._judge.fill(self._at, item)
        out.events += self._book.take()
        return out

    @property
    def tank_m3(self) -> float | None:
        """What is left in the tank after all that was fed; None where the rig has none."""
        return self._judge.tank_m3

    def watch(self, watcher: Watcher) -> None:
        """Tell `watcher` of every tick that the boom is judged by, for explanations."""
        self._judge.watch(watcher)

    def finish(self) -> Output:
        """The stream ends: close the tick and the second that are open."""
        out = Output()
        self._run(self._ticks.take_rest(), out)
        out.readings += self._judge.readings.take()
        out.events += self._book.take()
        return out

    def _hello(self, hello: Hello, out: Output) -> None:
        period_us = hello.period_ms * 1000
        if period_us != self._period_us:
            self._run(self._ticks.take_rest(), out)
            self._period_us = period_us
            self._unwrapper.period_us = period_us
            self._watch.period_us = period_us
            self._ticks.set_period(period_us)
        gauge = PressureGauge(self._rig.gauge, hello.adc_bits) if "P" in hello.channels else None
        self._judge.gauge = self._judge.closer.gauge = gauge
        self._watch.set_gauge(gauge)
        self._judge.data.hello(self._at, hello)

    def _run(self, ticks: TickTable, out: Output) -> None:
        n = ticks.shape[1]
        if n < WORTH_A_STRETCH:
            for tick in ticks_of(ticks):
                self._tick(tick, out)
            return
        segments = ticks[_SEGMENT]
        begins = [0, *(np.flatnonzero(np.diff(segments)) + 1).tolist(), n]
        for segment_begin, end in pairwise(begins):
            begin = segment_begin
            if int(segments[begin]) != self._segment:
                self._tick(Tick._make(ticks[:, begin].tolist()), out)
                begin += 1
            for start in range(begin, end, _LONGEST_STRETCH):
                self._stretch(ticks[:, start : min(end, start + _LONGEST_STRETCH)], out)

    def _tick(self, tick: Tick, out: Output) -> None:
        self._at = at = Position(tick.segment, tick.seq, tick.t_us)
        if tick.segment != self._segment:
            self._begin_segment(tick.segment, at)
        step = self._motion.step(tick)
        if step is not None:
            out.readings += self._judge.step(at, tick, step)

    def _stretch(self, ticks: TickTable, out: Output) -> None:
        """Ticks of the running segment, which has begun."""
        steps = self._motion.steps(ticks)
        at = list(rows_of(Position, ticks[_POSITION].tolist()))
        self._at = at[-1]
        out.readings += self._judge.steps(at, ticks, steps)

    def _begin_segment(self, segment: int, at: Position) -> None:
        first, self._segment = self._segment is None, segment
        found = self._breaks.pop(segment, None)
        if first or found is None:
            self._motion.restart(counters_from_zero=False)
            return
        reset = found.kind == "reset"
        self._motion.restart(counters_from_zero=reset)
        if reset:
            self._judge.data.reset(at, found.boot)
        else:
            self._judge.data.jump(at)


def _before(ticks: TickTable, at: Position) -> int:
    """How many of the ticks ended before a sample."""
    segment, seq = ticks[_SEGMENT], ticks[_SEQ]
    return int(
        np.count_nonzero((segment < at.segment) | ((segment == at.segment) & (seq < at.seq)))
    )
