"""A short window in finer steps than readings have: from the raw samples of just that window.

Pressure sample by sample, flow by half seconds, edge-timed as the monitor does it. Which readings
were spraying, and where pressure was believed, is taken over from the readings.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.sensors import FlowMeter, PressureGauge
from flowlog.review.decimate import Trace
from flowlog.review.places import TimeLine, time_line
from flowlog.review.route import RouteReview
from flowlog.rig.model import Rig
from flowlog.store.archive import Archive
from flowlog.wire.samples import COUNTER_MODULUS, Samples
from flowlog.wire.unwrap import Unwrapper

LONGEST_S: Final = 120.0
_EDGE_S: Final = 5.0
"""Looked at before and after the window, so that flow is timed from a pulse before it."""
_STEP_US: Final = 500_000
_MOST_SAMPLES: Final = 60_000
"""Looked through at most: samples that no reading counts put a window later in the stream."""
_HIGHEST_HZ: Final = 20_000.0

Numbers = NDArray[np.float64]


def fine(
    archive: Archive, review: RouteReview, begin_s: float, end_s: float
) -> tuple[Trace, Trace, Trace] | None:
    """Rate, flow and pressure between two seconds of the route.

    None if the window is longer than `LONGEST_S`, or its raw samples are not there any more.
    """
    line = time_line(review.columns)
    if end_s - begin_s > LONGEST_S or not len(line.end_s):
        return None
    first = int(np.searchsorted(line.end_s, begin_s - _EDGE_S))
    last = min(int(np.searchsorted(line.begin_s, end_s + _EDGE_S)), len(line.end_s)) - 1
    if last < first:
        return None
    # Some earlier, since what was lost or came twice puts a reading elsewhere in the stream.
    ordinal = max(int(review.columns["samples"][:first].sum()) - 50, 0)
    table = _unwrapped(archive, review, ordinal, first, last)
    if table is None:
        return None
    at_s, reading = _placed(table, review, line, first, last)
    known = reading >= 0
    if known.sum() < 2:
        return None
    table, at_s, reading = table[known], at_s[known], reading[known]
    pressure = _pressure(table, at_s, reading, review, _adc_bits(archive, review, ordinal))
    flow = _flow(table, at_s, review.rig)
    rate = _rate(flow, line, review)
    return _cut(rate, begin_s, end_s), _cut(flow, begin_s, end_s), _cut(pressure, begin_s, end_s)


def _unwrapped(
    archive: Archive, review: RouteReview, ordinal: int, first: int, last: int
) -> NDArray[np.int64] | None:
    """The raw samples of the readings `first` to `last`, and a few more, on a growing scale."""
    wanted_seq, wanted_segment = int(review.columns["seq"][last]), review.columns["segment"][last]
    boots = int(wanted_segment - review.columns["segment"][first])
    tables, seen = [], 0
    unwrapper: Unwrapper | None = None
    for _, item in archive.stream(review.route.id, ordinal):
        if not isinstance(item, Samples) or not len(item):
            continue
        unwrapper = unwrapper or Unwrapper(_period_us(item), _HIGHEST_HZ)
        table = unwrapper.feed(item).table
        tables.append(table)
        seen += len(item)
        over = len(table) and table[-1, 0] >= boots and table[-1, 1] > wanted_seq
        if over or seen > _MOST_SAMPLES:
            break
    return np.concatenate(tables) if tables else None


def _period_us(samples: Samples) -> int:
    """Time between samples, as the board's clock says."""
    clock, seq = samples.column("clock_us"), samples.column("seq")
    steps, numbers = np.diff(clock) % COUNTER_MODULUS, np.diff(seq)
    alone = numbers == 1
    return max(1, round(float(np.median(steps[alone])) / 1000)) * 1000 if alone.any() else 100_000


def _placed(
    table: NDArray[np.int64], review: RouteReview, line: TimeLine, first: int, last: int
) -> tuple[Numbers, NDArray[np.int64]]:
    """Second of each sample on the route's time line, and the reading that holds it, else -1.

    The unwrapped clock began somewhere in the stream, so it is off by a multiple of 2**32 us; a
    reading's last sample, found by its number, tells by which.
    """
    columns = review.columns
    at_s = np.full(len(table), np.nan)
    reading = np.full(len(table), -1, dtype=np.int64)
    part, later = slice(first, last + 1), int(columns["segment"][last]) + 1
    # From the end: runs follow one another as segments do, and every boot counts from zero again.
    for run in np.unique(table[:, 0])[::-1]:
        rows = np.flatnonzero(table[:, 0] == run)
        seq, t_us = table[rows, 1], table[rows, 2]
        for index in range(last, first - 1, -1):
            if columns["segment"][index] >= later:
                continue
            row = int(np.searchsorted(seq, columns["seq"][index]))
            if row >= len(seq) or seq[row] != columns["seq"][index]:
                continue
            away = int(columns["t_us"][index]) - int(t_us[row])
            if away % COUNTER_MODULUS:
                continue  # the same number of another boot
            second = float(line.end_s[index]) + (t_us + away - int(columns["t_us"][index])) / 1e6
            here = columns["segment"][part] == columns["segment"][index]
            ends, begins = line.end_s[part][here], line.begin_s[part][here]
            numbers = first + np.flatnonzero(here)
            place = np.minimum(np.searchsorted(ends, second - 1e-6), len(ends) - 1)
            inside = (second > begins[place] - 1e-6) & (second <= ends[place] + 1e-6)
            at_s[rows] = second
            reading[rows] = np.where(inside, numbers[place], -1)
            later = int(columns["segment"][index])
            break
    return at_s, reading


def _adc_bits(archive: Archive, review: RouteReview, ordinal: int) -> int:
    hello = archive.hello(review.route.id, ordinal)
    return review.rig.gauge.adc_bits if hello is None else hello.adc_bits


def _pressure(
    table: NDArray[np.int64],
    at_s: Numbers,
    reading: NDArray[np.int64],
    review: RouteReview,
    adc_bits: int,
) -> Trace:
    gauge = PressureGauge(review.rig.gauge, adc_bits)
    believed = np.isfinite(review.columns["pressure_pa"][reading]) & (table[:, 6] > 0)
    values = np.full((len(table), 3), np.nan)
    for row in np.flatnonzero(believed):
        found = gauge.read(*(int(value) for value in table[row, 5:9]))
        values[row] = (found.min_pa, found.mean_pa, found.max_pa)
    return Trace(at_s, values[:, 0], values[:, 1], values[:, 2])


def _flow(table: NDArray[np.int64], at_s: Numbers, rig: Rig) -> Trace:
    """Flow by half seconds: pulses by the time between their edges, where edges tell it."""
    meter = FlowMeter(rig.meter)
    period_us = float(np.median(np.diff(table[:, 2]))) or 100_000.0
    number = table[:, 1] // max(1, round(_STEP_US / period_us))
    new = (np.diff(number) != 0) | (np.diff(table[:, 0]) != 0)
    ends = np.append(np.flatnonzero(new), len(table) - 1)
    middle, flow = [], []
    for before, now in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
        if table[before, 0] != table[now, 0]:
            continue
        pulses = int(table[now, 3] - table[before, 3])
        seconds = (table[now, 2] - table[before, 2]) / 1e6
        between = (table[now, 4] - table[before, 4]) / 1e6
        waited = (table[before, 2] - table[before, 4]) / 1e6
        hz = pulses / seconds
        if pulses and table[before, 4] >= 0 and between > 0 and waited <= 1.5 * between / pulses:
            hz = pulses / between
        middle.append((at_s[before] + at_s[now]) / 2)
        flow.append(hz / meter.pulses_per_m3(hz))
    values = np.array(flow, dtype=np.float64)
    return Trace(np.array(middle, dtype=np.float64), values, values, values)


def _rate(flow: Trace, line: TimeLine, review: RouteReview) -> Trace:
    """Flow over the ground covered, where the boom was open."""
    columns = review.columns
    place = np.minimum(np.searchsorted(line.end_s, flow.at_s), len(line.end_s) - 1)
    phase, speed = columns["phase"][place], columns["speed_m_s"][place]
    open_ = ((phase == "spraying") | (phase == "settling")) & (speed > 0)
    ground = np.where(open_, speed, np.nan) * review.rig.boom.effective_width_m
    values = flow.mean / ground
    return Trace(flow.at_s, values, values, values)


def _cut(trace: Trace, begin_s: float, end_s: float) -> Trace:
    inside = (trace.at_s >= begin_s) & (trace.at_s <= end_s)
    return Trace(trace.at_s[inside], trace.low[inside], trace.mean[inside], trace.high[inside])
