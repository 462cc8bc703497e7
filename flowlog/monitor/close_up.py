"""A close look at an onset: when it came, how fast, and whether the pressure answered at once.

The sequential tests see ticks of half a second. What came at once shows best from one sample to
the next, where slow noise has hardly moved: the residual gives the moment to within a sample or
two, and a pressure that then stepped by one or two per cent stands out of noise that would hide it
in means over ten seconds. So every moment (and a few ways of creeping in) is tried as a
hypothesis: weighed by the residual alone, each says how far the pressure moved if it was that one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.autoregression import ORDER, Autoregression, fit, runs_of
from flowlog.monitor.conductance import METER_LAG_S, Law
from flowlog.monitor.creep import CREPT_S, Creep, Steps, trace
from flowlog.monitor.outputs import Position
from flowlog.monitor.sensors import FlowMeter, PressureGauge
from flowlog.monitor.supply import PressureAnswer
from flowlog.monitor.ticks import TICK_MS
from flowlog.wire.unwrap import UNWRAPPED_FIELDS as COLUMNS

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_SEQ, _T, _PULSES, _EDGE = (COLUMNS.index(n) for n in ("seq", "t_us", "pulses", "edge_us"))
_ADC = [COLUMNS.index(name) for name in ("adc_sum", "adc_n", "adc_min", "adc_max")]

_OVER_S: Final = (0.0, 1.0, 2.5, 5.0, 10.0)
_OVER_SHARE: Final = (0.6, 0.1, 0.1, 0.1, 0.1)
"""How long it took to come, and how likely each is beforehand: most clogs come at once, a strainer
that fills up takes seconds (common practice, no source)."""
_HOSE_S: Final = (0.0, 0.3, 1.0)
_HOSE_SHARE: Final = (0.85, 0.12, 0.03)
"""By how much soft hoses and trapped air delay the pressure's answer. A hose that gives by 1 mL a
psi fills within a twentieth of a second of what a clogged tip no longer passes; with air in it that
may become a second."""
_NEAR_S: Final = 2.5
_FINE_S: Final = 0.05
_COARSE_S: Final = 0.5
_BACK_S: Final = 12.0
"""Tried is every twentieth of a second near the onset as the tests estimate it, and every half
second for so long before that and after."""
_GUARD_S: Final = 3.0
"""The noise is fitted to what lies so long before the estimated onset."""
_FITTED_S: Final = 60.0
_LEAST_BEFORE: Final = 10
"""Samples of the same pass before the earliest moment that is tried."""
_LEAST: Final = 0.7
_MOST: Final = 1.4
"""Shares of the shift as measured that the step at the onset may have."""
_LAG_DOUBT_S: Final = 0.15
"""The rotor's lag is known to a twentieth of a second, a sample tells a tenth; a sensor that fails
has no lag."""
_FOLLOWED_LAGS: Final = 3.0
"""After so many lags the rotor has followed all but a twentieth of a step."""
_CREEP_DOUBT: Final = 0.1
"""What creeps in does not do so along a line: of its time, so much more doubt of its beginning."""
_SHAPE_DOUBT: Final = 0.05
"""The same once it is traced: half of it lay in how long it takes."""
_LEAST_SD: Final = 5e-4
"""A twentieth of a code of ten bits, at half of the span: no gauge tells less."""
_WORTH: Final = 1e-4
"""Hypotheses of less weight are left out."""


@dataclass(frozen=True, slots=True)
class CloseUp:
    """What the samples around an onset say."""

    ago_s: float
    """Since the onset, to the last sample; the mean of what is likely."""
    earliest_s: float
    latest_s: float
    """95 % of what is likely lies between; both since then, so `earliest_s` is the larger."""
    over_s: float
    """How long it took to come; nought if at once."""
    shift: float
    """Of the log conductance, by the samples since the rotor has followed; not yet known well."""
    shift_sd: float
    answer: PressureAnswer
    creep: Creep | None = None
    tracer: Callable[[], Creep | None] | None = None
    """Traces it, if it took some time. That takes longer, and not all who look want to know."""

    def traced(self) -> CloseUp:
        """The same, with what is known of its creeping."""
        creep = self.tracer() if self.tracer is not None else None
        if creep is None:
            return self
        doubt_s = _LAG_DOUBT_S + _SHAPE_DOUBT * creep.over_s
        return replace(
            self,
            ago_s=creep.ago_s,
            earliest_s=creep.earliest_s + doubt_s,
            latest_s=max(0.0, creep.latest_s - doubt_s),
            over_s=creep.over_s,
            creep=creep,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Samples as flow and pressure, arrays of shape (n,)."""

    t_s: Floats
    """End of each, relative to that of the last."""
    edge_s: Floats
    """Its last pulse."""
    residual: Floats
    """Log conductance less the healthy level; NaN where there is none."""
    log_pressure: Floats
    usable: Flags
    """Settled spraying, measured, and next to the sample before."""

    def __len__(self) -> int:
        return len(self.t_s)


def series_of(
    rows: NDArray[np.int64],
    settled: Sequence[Position],
    gauge: PressureGauge,
    meter: FlowMeter,
    level: float,
    law: Law,
) -> Series:
    """Raw samples as residual and pressure.

    Args:
        rows: As from `RawWindow.upto`; two at least.
        settled: The last samples of the ticks that were judged, in order.
        gauge, meter: Of the rig.
        level: Healthy log conductance.
        law: By which flow goes with pressure.
    """
    t_us, edge_us = rows[:, _T], rows[:, _EDGE]
    t_s, edge_s = (t_us - t_us[-1]) * 1e-6, (edge_us - t_us[-1]) * 1e-6
    pulses, between = np.diff(rows[:, _PULSES], prepend=rows[0, _PULSES]), np.zeros(len(rows))
    between[1:] = np.diff(edge_s)
    with np.errstate(divide="ignore", invalid="ignore"):
        hz = pulses / between
        pressure = gauge.read_all(*rows[:, _ADC].T).mean_pa
        measured = (pulses > 0) & (between > 0.0) & (edge_us >= 0) & (pressure > 0.0)
        hz[~measured] = 1.0
        flow = hz / meter.pulses_per_m3_of(hz)
        pressure[~measured] = 1.0
        log_pressure = np.log(pressure)
        root = pressure**law.exponent * law.scale
        residual = np.log(flow) - np.log(_lagged(root, t_s)) - level
    measured[1:] &= np.diff(rows[:, _SEQ]) == 1
    measured[0] = False
    return Series(t_s, edge_s, residual, log_pressure, measured & _within(t_us, settled, rows))


def _within(t_us: NDArray[np.int64], settled: Sequence[Position], rows: NDArray[np.int64]) -> Flags:
    """Which samples lie in a judged tick."""
    segment = int(rows[-1, 0])
    ends = np.array([at.t_us for at in settled if at.segment == segment], dtype=np.int64)
    if not len(ends):
        return np.zeros(len(t_us), dtype=np.bool_)
    after = np.minimum(np.searchsorted(ends, t_us), len(ends) - 1)
    return np.asarray((ends[after] >= t_us) & (ends[after] - t_us < TICK_MS * 1000))


def _lagged(root: Floats, t_s: Floats) -> Floats:
    """Means over the samples of what stands behind the meter's lag; see `Residual`."""
    share = np.diff(t_s, prepend=t_s[0] - (t_s[1] - t_s[0])) / METER_LAG_S
    decay = np.exp(-share)
    out = np.empty(len(root))
    behind = float(root[0])
    steps = zip(root.tolist(), share.tolist(), decay.tolist(), strict=True)
    for i, (value, x, keep) in enumerate(steps):
        out[i] = value + (behind - value) * (1.0 - keep) / x
        behind = value + (behind - value) * keep
    return out


def look(series: Series, ago_s: float, shift: float) -> CloseUp | None:
    """Weigh when a shift began and how the pressure answered.

    Args:
        series: Up to now.
        ago_s: When the tests say that it began, before the last sample.
        shift: Of the log conductance, as measured since.

    Returns:
        None where the onset does not lie within the present pass, with enough before it.
    """
    n = len(series)
    runs = runs_of(series.usable)
    begin = n - int(runs[-1]) if n else 0
    first = begin + ORDER + _LEAST_BEFORE
    if first >= n - 1 or -ago_s < series.t_s[first]:
        return None
    guard = int(np.searchsorted(series.t_s, -ago_s - _GUARD_S))
    window = (series.t_s > series.t_s[guard] - _FITTED_S) if guard < n else series.usable
    before = series.usable & window & (np.arange(n) < guard)
    flow_noise = fit(series.residual, before, about=0.0)
    pressure_noise = fit(series.log_pressure, before)
    if flow_noise is None or pressure_noise is None:
        return None
    at_s, over_s, weight = _moments(float(series.t_s[first]), ago_s)
    if not len(at_s):
        return None
    # Only what lies near the first moment that is tried tells anything about the onset.
    low = max(begin, int(np.searchsorted(series.t_s, float(at_s.min()))) - ORDER - _LEAST_BEFORE)
    part = slice(low, n)
    ends, edges = series.t_s[part], series.edge_s[part]
    began = np.append(series.t_s[low - 1], ends[:-1])
    edge_before = np.append(series.edge_s[low - 1], edges[:-1])

    seen = flow_noise.whiten(series.residual[part])
    steps = flow_noise.whiten(_steps(edge_before, edges, at_s, over_s, METER_LAG_S))
    along = (steps * seen).sum(axis=1)
    power = (steps * steps).sum(axis=1)
    known = power > 0.0
    size = np.zeros(len(along))
    size[known] = along[known] / power[known]
    size = np.clip(size / shift, _LEAST, _MOST) * shift
    nats = (size * along - 0.5 * size * size * power) / flow_noise.variance
    once = known & (over_s == 0.0)
    at_once = Steps(at_s[once], np.log(weight[once]), along[once], power[once])
    weight = weight * np.exp(nats - nats.max())
    weight /= weight.sum()
    kept = weight > _WORTH
    at_s, over_s, weight = at_s[kept], over_s[kept], weight[kept]
    answer = _answer(series.log_pressure[part], pressure_noise, (began, ends), at_s, over_s, weight)
    order = np.argsort(at_s, kind="stable")
    summed = np.cumsum(weight[order])
    low_s, high_s = (
        float(at_s[order][min(int(np.searchsorted(summed, q * summed[-1])), len(at_s) - 1)])
        for q in (0.025, 0.975)
    )
    took_s = float((over_s * weight).sum() / weight.sum())
    doubt_s = _LAG_DOUBT_S + _CREEP_DOUBT * took_s
    mean_s = float((at_s * weight).sum() / weight.sum())
    moved, moved_sd = _moved(series, part, edge_before, mean_s, before)
    found = CloseUp(
        ago_s=-mean_s,
        earliest_s=-low_s + doubt_s,
        latest_s=max(0.0, -high_s - doubt_s),
        over_s=took_s,
        shift=moved,
        shift_sd=moved_sd,
        answer=answer,
    )
    if took_s < CREPT_S:
        return found

    def hinges(knots_s: Floats) -> Floats:
        return flow_noise.whiten(_hinges(edge_before, edges, knots_s, METER_LAG_S))

    def traced() -> Creep | None:
        span_s = float(at_s.min()), float(at_s.max())
        sign = float(np.sign(shift))
        return trace(seen, flow_noise.variance, hinges, at_once, span_s, sign)

    return replace(found, tracer=traced)


def _moved(
    series: Series, part: slice, edge_before: Floats, at_s: float, before: Flags
) -> tuple[float, float]:
    """How far the residual has moved since a moment, once the rotor has followed, and its doubt."""
    since = edge_before - at_s
    follows = since > _FOLLOWED_LAGS * METER_LAG_S
    if not follows.any():
        follows[-1] = True
    left = float(np.exp(-np.maximum(since[follows], 0.0) / METER_LAG_S).mean())
    moved = float(series.residual[part][follows].mean())
    # Over a few seconds noise of this kind hardly averages out.
    noise = float(np.var(series.residual[before]))
    return moved, float(np.sqrt(noise + (left * moved) ** 2))


def _moments(first_s: float, ago_s: float) -> tuple[Floats, Floats, Floats]:
    """Moments to try, how long each takes to come, and how likely each is beforehand."""
    near = np.arange(-ago_s - _NEAR_S, min(-ago_s + _NEAR_S, -_FINE_S), _FINE_S)
    far = np.arange(-ago_s - _BACK_S, min(-ago_s + _BACK_S, -_FINE_S), _COARSE_S)
    between = far[(far < near[0]) | (far > near[-1])] if len(near) else far
    at, over, weight = [], [], []
    for over_s, share in zip(_OVER_S, _OVER_SHARE, strict=True):
        if over_s == 0.0:
            tried = np.concatenate([near, between])
            each = np.concatenate([np.full(len(near), _FINE_S), np.full(len(between), _COARSE_S)])
        else:
            tried, each = far, np.full(len(far), _COARSE_S)
        at.append(tried)
        over.append(np.full(len(tried), over_s))
        weight.append(share * each)
    at_s, over_of, weights = np.concatenate(at), np.concatenate(over), np.concatenate(weight)
    inside = at_s > first_s
    return at_s[inside], over_of[inside], weights[inside]


def _steps(begin_s: Floats, end_s: Floats, at_s: Floats, over_s: Floats, lag_s: float) -> Floats:
    """Mean over each interval of unit steps or ramps, behind a lag; shape (moments, n)."""
    out = np.empty((len(at_s), len(begin_s)))
    length = np.maximum(end_s - begin_s, 1e-9)
    begin, end = begin_s - at_s[:, None], end_s - at_s[:, None]
    for over in sorted(set(over_s.tolist())):
        of = over_s == over
        if over == 0.0:
            out[of] = (_once(end[of], lag_s) - _once(begin[of], lag_s)) / length
        else:
            upto = _twice(end[of], lag_s) - _twice(end[of] - over, lag_s)
            since = _twice(begin[of], lag_s) - _twice(begin[of] - over, lag_s)
            out[of] = (upto - since) / over / length
    return out


def _hinges(begin_s: Floats, end_s: Floats, at_s: Floats, lag_s: float) -> Floats:
    """Mean over each interval of lines of slope one that begin at moments, behind a lag."""
    length = np.maximum(end_s - begin_s, 1e-9)
    begin, end = begin_s - at_s[:, None], end_s - at_s[:, None]
    return (_twice(end, lag_s) - _twice(begin, lag_s)) / length


def _once(t_s: Floats, lag_s: float) -> Floats:
    """Integral of a unit step at nought behind a first-order lag."""
    t = np.maximum(t_s, 0.0)
    return t - lag_s * (1.0 - np.exp(-t / lag_s)) if lag_s else t


def _twice(t_s: Floats, lag_s: float) -> Floats:
    """Its integral."""
    t = np.maximum(t_s, 0.0)
    if not lag_s:
        return 0.5 * t * t
    return 0.5 * t * t - lag_s * t + lag_s * lag_s * (1.0 - np.exp(-t / lag_s))


def _answer(
    log_pressure: Floats,
    noise: Autoregression,
    interval: tuple[Floats, Floats],
    at_s: Floats,
    over_s: Floats,
    weight: Floats,
) -> PressureAnswer:
    """By generalised least squares for each moment, the mean being known only so well."""
    news = noise.whiten(log_pressure - noise.mean)
    rest = noise.rest
    level = len(news) * rest * rest / noise.variance + 1.0 / max(noise.mean_variance, 1e-12)
    level_along = float(news.sum()) * rest / noise.variance
    parts: list[tuple[float, float, float]] = []
    for hose_s, share in zip(_HOSE_S, _HOSE_SHARE, strict=True):
        steps = noise.whiten(_steps(*interval, at_s, over_s, hose_s))
        along = (steps * news).sum(axis=1) / noise.variance
        power = (steps * steps).sum(axis=1) / noise.variance
        shared = steps.sum(axis=1) * rest / noise.variance
        known = np.maximum(power - shared * shared / level, 1e-9)
        moved = (along - shared * level_along / level) / known
        sd = np.maximum(known**-0.5, _LEAST_SD)
        parts += zip((share * weight).tolist(), moved.tolist(), sd.tolist(), strict=True)
    return PressureAnswer.mixed(parts)
