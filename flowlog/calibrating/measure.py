"""What the board says, gathered for one purpose: pulses of a run, a steady code, a water run."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from flowlog.calibrating.feed import Feed
from flowlog.calibration.baseline_steps import settle_time_s, steps_of
from flowlog.calibration.gauge import code_doubt
from flowlog.errors import FlowlogError
from flowlog.monitor.motion import Motion
from flowlog.monitor.sensors import PressureGauge
from flowlog.monitor.ticks import TICK_MS, TickGatherer
from flowlog.rig.model import Rig
from flowlog.units import Units, show
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples
from flowlog.wire.unwrap import Unwrapper

TICK_S: Final = TICK_MS * 1e-3
STILL_S: Final = 2.0
"""Without a pulse for so long the run has ended."""
CODE_S: Final = 10.0
"""A pump's ripple and the ADC's noise are averaged over so long."""
_PERIOD_US: Final = 100_000
_FASTEST_HZ: Final = 20_000.0
_MOVING: Final = 0.03
"""Of the span, from the first half of the reading to the second: a pump wanders by a per cent."""
_RUNNING: Final = 2
"""Pulses in half a second: less is a meter's rotor that swings, or a drip."""

Progress = Callable[[str], None]
Pressed = Callable[[], bool]


class MeasureError(FlowlogError):
    """A measurement that came to nothing, and why."""


@dataclass(frozen=True, slots=True)
class Look:
    """Half a second."""

    segment: int
    t_s: float
    seconds: float
    pulses: int
    """Counted since the board's start."""
    edge_s: float
    new: int
    """Pulses in this half second."""
    flow_m3_s: float
    share: float | None
    """Mean ADC code over its full scale."""
    pressure_pa: float | None


class Looks:
    """Samples to looks, by the rig's meter and gauge as they are known now."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._unwrapper = Unwrapper(_PERIOD_US, _FASTEST_HZ)
        self._ticks = TickGatherer(_PERIOD_US)
        self._motion = Motion(rig)
        self._segment = -1
        self._set_gauge(rig.gauge.adc_bits)

    def _set_gauge(self, adc_bits: int) -> None:
        self._codes = float(1 << adc_bits)
        self._gauge = PressureGauge(self._rig.gauge, adc_bits)

    def feed(self, items: list[Samples | Hello]) -> Iterator[Look]:
        for item in items:
            if isinstance(item, Hello):
                self._set_gauge(item.adc_bits)
                if item.period_ms * 1000 != self._unwrapper.period_us:
                    self._unwrapper.period_us = item.period_ms * 1000
                    self._ticks.take_unfinished()
                    self._ticks.set_period(item.period_ms * 1000)
                continue
            for tick in self._ticks.feed(self._unwrapper.feed(item).table):
                if tick.segment != self._segment:
                    self._segment = tick.segment
                    self._motion.restart(counters_from_zero=False)
                step = self._motion.step(tick)
                if step is None:
                    continue
                share = tick.adc_sum / tick.adc_n / self._codes if tick.adc_n > 0 else None
                pressure = None
                if tick.adc_n > 0:
                    read = self._gauge.read(tick.adc_sum, tick.adc_n, tick.adc_min, tick.adc_max)
                    pressure = read.mean_pa if read.state == "ok" else None
                yield Look(
                    tick.segment, tick.t_us * 1e-6, step.seconds, tick.pulses,
                    tick.edge_us * 1e-6, step.pulses, step.flow_m3_s, share, pressure,
                )  # fmt: skip


def _looks(feed: Feed, rig: Rig) -> Iterator[Look | None]:
    """Looks until the feed ends; None now and then while nothing comes."""
    looks = Looks(rig)
    while True:
        items = feed.take()
        yield from looks.feed(items)
        if feed.ended:
            return
        if not items:
            yield None


def count_run(
    feed: Feed, rig: Rig, units: Units, progress: Progress, pressed: Pressed
) -> dict[str, Any]:
    """Pulses of one run: from when the flow starts until it stops, or from Enter to Enter.

    Raises:
        MeasureError: no flow in a recording, or the board restarted.
        FlowlogError: nothing comes from the board.
    """
    before: Look | None = None
    first: Look | None = None
    last: Look | None = None
    still_s = 0.0
    was_still = False
    for look in _looks(feed, rig):
        enter = pressed()
        if look is None:
            if enter and first is not None and last is not None:
                return _run(first, last)
            continue
        if before is not None and look.segment != before.segment:
            raise MeasureError("the board restarted during the run (do the run again)")
        flowing = look.new >= _RUNNING
        if first is None:
            was_still = was_still or not flowing
            if (flowing and was_still and before is not None) or (enter and flowing):
                first = before or look
            elif flowing:
                progress("Flow already: shut the boom, or press Enter to count from now.")
            else:
                progress("Waiting for the flow: open the boom.  (Ctrl-C leaves)")
        if first is not None:
            still_s = 0.0 if look.new > 0 else still_s + look.seconds
            if look.new > 0 or last is None:
                last = look
            pulses = last.pulses - first.pulses
            volume = show(pulses / rig.meter.pulses_per_m3, "volume", units)
            progress(
                f"{pulses:6d} pulses  {look.t_s - first.t_s:5.0f} s  about {volume}   "
                "shut the boom to end"
            )
            if still_s >= STILL_S or (enter and last is not first):
                return _run(first, last)
        before = look
    if first is None or last is None:
        raise MeasureError(f"{feed.name}: no run in it (no flow that starts)")
    return _run(first, last)


def _run(first: Look, last: Look) -> dict[str, Any]:
    pulses = last.pulses - first.pulses
    # The flow starts somewhere in the look after `first`, and ends with the last pulse.
    seconds = max(min(last.edge_s, last.t_s) - first.t_s, TICK_S)
    return {"pulses": pulses, "seconds": round(seconds, 3)}


def steady_code(feed: Feed, rig: Rig, progress: Progress, pressed: Pressed) -> dict[str, Any]:
    """The mean code over some seconds, as a share of the ADC's full scale.

    Raises:
        MeasureError: no gauge, a broken wire, or a pressure that moves.
        FlowlogError: nothing comes from the board.
    """
    feed.fresh()
    shares: list[float] = []
    for look in _looks(feed, rig):
        pressed()
        if look is None:
            continue
        if look.share is None:
            raise MeasureError("the board sends no gauge readings")
        shares.append(look.share)
        left = CODE_S - len(shares) * TICK_S
        progress(f"reading the gauge, {max(left, 0):.0f} s left")
        if left <= 0:
            break
    if len(shares) * TICK_S < CODE_S / 2:
        raise MeasureError(f"{feed.name}: too little in it ({len(shares) * TICK_S:.0f} s)")
    share = float(np.mean(shares))
    doubt = code_doubt(share)
    if doubt is not None:
        raise MeasureError(f"{doubt} (check plug and wires, then once more)")
    half = len(shares) // 2
    moved = abs(float(np.mean(shares[:half])) - float(np.mean(shares[half:])))
    if moved > _MOVING * (rig.gauge.span_share - rig.gauge.zero_share):
        raise MeasureError("the pressure moved meanwhile (let it settle, then once more)")
    return {"share": share, "seconds": len(shares) * TICK_S}


@dataclass(slots=True)
class WaterRun:
    """A water run as the baseline wants it."""

    flow_m3_s: list[float]
    pressure_pa: list[float]

    def add(self, look: Look) -> None:
        self.flow_m3_s.append(look.flow_m3_s)
        self.pressure_pa.append(look.pressure_pa if look.pressure_pa is not None else 0.0)

    @property
    def arrays(self) -> tuple[Any, Any]:
        return np.array(self.flow_m3_s), np.array(self.pressure_pa)

    def held(self) -> list[tuple[float, float]]:
        """(mean pressure, seconds) of each pressure held so far, lowest first."""
        flow, pressure = self.arrays
        step = steps_of(flow, pressure, TICK_S)
        return [
            (
                float(np.mean(pressure[step == number])),
                float(np.count_nonzero(step == number)) * TICK_S,
            )
            for number in np.unique(step[step >= 0]).tolist()
        ]

    def settle_s(self) -> float | None:
        flow, pressure = self.arrays
        return settle_time_s(flow, pressure, TICK_S)


def water_run(
    feed: Feed,
    rig: Rig,
    units: Units,
    progress: Progress,
    pressed: Pressed,
    enough: Callable[[WaterRun], str | None],
) -> WaterRun:
    """Flow and pressure of a water run, until Enter or until it is enough.

    Args:
        enough: looked at every few seconds; None when it is enough, else what is missing.

    Raises:
        FlowlogError: nothing comes from the board, or it restarted.
    """
    run = WaterRun([], [])
    before: Look | None = None
    missing: str | None = ""
    for look in _looks(feed, rig):
        if pressed() and run.flow_m3_s:
            return run
        if look is None:
            continue
        if before is not None and look.segment != before.segment:
            raise MeasureError("the board restarted during the run (do the run again)")
        before = look
        run.add(look)
        if len(run.flow_m3_s) % 4 == 0 and not feed.ended:
            missing = enough(run)
            if missing is None:
                return run
            now = show(look.pressure_pa or 0.0, "pressure", units)
            flow = show(look.flow_m3_s, "flow", units)
            progress(f"{now:>9}  {flow:>12}   {missing}")
    if not run.flow_m3_s or not math.isfinite(sum(run.flow_m3_s)):
        raise MeasureError(f"{feed.name}: nothing in it")
    return run
