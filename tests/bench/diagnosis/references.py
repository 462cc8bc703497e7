"""Other detectors on the same signal, and what a person would do without flowlog.

- Page-Hinkley and ADWIN of the library river, on the residual at 10 Hz.
- A moving average of flow over five seconds against a limit on both sides, no pressure used.
- Offline, with the whole record before it: the best single change point of the library ruptures.

Each is tuned on the tuning seeds until it gives a false alarm as seldom as is promised for the
monitor, and then judged on the judging seeds. All are frozen, not reset, while the boom is shut,
and are given a residual whose healthy mean is known.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import ruptures
from bench.diagnosis.bounds import autocovariance
from bench.diagnosis.measure import Clock, Job
from bench.diagnosis.residual import STEP_S, Trace, trace_of
from bench.diagnosis.scenarios import CASES, healthy_route, rig_of, trial
from numpy.typing import NDArray
from river.drift import ADWIN, PageHinkley

from flowlog.simulator.run import simulate, with_faults

Floats = NDArray[np.float64]

PH_TOLERANCE = 0.005
PH_ALPHA = 1.0
"""No forgetting: with river's default of 0.9999 the sum stops drifting after some minutes and its
extreme is never forgotten, so that the threshold would have to be eight times higher."""
ADWIN_DELTAS = (1e-6, 1e-9, 1e-12, 1e-15, 1e-22, 1e-30, 1e-45)
ADWIN_CLOCK = 10
"""It looks once a second."""
_AVERAGE = 50
_BLOCK = 600
"""Samples in a minute: exceedances within one are one false alarm."""
_KEPT = 8
ORDER = 40
_BEFORE_S, _AFTER_S = 60.0, 30.0


def page_hinkley(y: Floats) -> Floats:
    """The larger of the two statistics of river's test, never reset."""
    deviation = y - np.cumsum(y) / np.arange(1, len(y) + 1)
    up = np.cumsum(deviation - PH_TOLERANCE)
    down = np.cumsum(deviation + PH_TOLERANCE)
    return np.maximum(
        up - np.minimum.accumulate(up), np.maximum(np.maximum.accumulate(down), -1.0) - down
    )


def moving_average(trace: Trace) -> Floats:
    """Deviation of the flow's mean over five seconds, taken within passes only, shape (n,)."""
    found = np.zeros(len(trace.flow))
    for piece in trace.pieces():
        if len(piece) >= _AVERAGE:
            means = np.convolve(trace.flow[piece], np.full(_AVERAGE, 1.0 / _AVERAGE), "valid")
            found[piece[_AVERAGE - 1 :]] = np.abs(means)
    return found


def _peaks(statistic: Floats) -> list[float]:
    """The largest values, one a minute."""
    count = len(statistic) // _BLOCK
    peaks = statistic[: count * _BLOCK].reshape(count, _BLOCK).max(axis=1)
    return sorted(peaks.tolist(), reverse=True)[:_KEPT]


def run(job: Job) -> dict[str, Any]:
    """Do a job: "healthy" for the statistics without a fault, "trial" for delays."""
    return _healthy(job) if job.kind == "reference healthy" else _trial(job)


def _healthy(job: Job) -> dict[str, Any]:
    scenario = healthy_route(job.name, job.tips, job.seed, job.hours)
    sim = simulate(scenario)
    trace = trace_of(sim, rig_of(job.tips))
    deltas = job.limits[1:2] if job.limits else ADWIN_DELTAS
    return {
        "hours": float(sim.truth.spraying.sum()) * STEP_S / 3600.0,
        "page_hinkley": _peaks(page_hinkley(trace.y)),
        "moving_average": _peaks(moving_average(trace)),
        "adwin": [_adwin_alarms(trace.y, delta) for delta in deltas],
        "covariance": autocovariance(
            [trace.y[piece] - trace.y.mean() for piece in trace.pieces()], ORDER
        ).tolist(),
    }


def _adwin_alarms(y: Floats, delta: float) -> int:
    detector, alarms = ADWIN(delta=delta, clock=ADWIN_CLOCK), 0
    for value in y.tolist():
        detector.update(value)
        alarms += detector.drift_detected
    return alarms


def limits(results: list[dict[str, Any]], gamma_h: float) -> tuple[float, float, float]:
    """Page-Hinkley's threshold, ADWIN's delta and the average's limit, tuned to one in `gamma_h`.

    As many exceedances are allowed as are due in the hours at hand; the limit lies between the
    last that is allowed and the first that is not.
    """
    due = max(0, int(sum(result["hours"] for result in results) / gamma_h))

    def between(name: str) -> float:
        peaks = sorted((p for result in results for p in result[name]), reverse=True)
        inner, outer = peaks[due], peaks[due - 1] if due else peaks[0] * 1.05
        return 0.5 * (inner + outer)

    alarms = np.sum([result["adwin"] for result in results], axis=0)
    quiet = [d for d, count in zip(ADWIN_DELTAS, alarms.tolist(), strict=True) if count <= due]
    return between("page_hinkley"), max(quiet, default=ADWIN_DELTAS[-1]), between("moving_average")


def false_alarms(results: list[dict[str, Any]], tuned: tuple[float, float, float]) -> list[int]:
    """Of Page-Hinkley, ADWIN and the average, from healthy results at the tuned limits."""
    return [
        sum(peak > tuned[0] for result in results for peak in result["page_hinkley"]),
        sum(result["adwin"][0] for result in results),
        sum(peak > tuned[2] for result in results for peak in result["moving_average"]),
    ]


def _trial(job: Job) -> dict[str, Any]:
    plan = trial("settled", job.tips, job.seed)
    threshold, delta, limit = job.limits
    rng = np.random.default_rng([job.seed, 5])
    found: dict[str, Any] = {}
    for case in CASES.values():
        if not case.delays:
            continue
        sim = simulate(with_faults(plan.scenario, *case.faults(plan.scenario, plan.at_s)))
        trace = trace_of(sim, rig_of(job.tips))
        clock = Clock(sim)
        onset_s = clock.at(plan.at_s)
        first = int(np.searchsorted(sim.t_s[trace.sample], plan.at_s))
        after = slice(first, None)
        detector = PageHinkley(threshold=threshold, delta=PH_TOLERANCE, alpha=PH_ALPHA)
        delays = []
        for which in (detector, ADWIN(delta=delta, clock=ADWIN_CLOCK)):
            at = _first_alarm(which, trace.y, first)
            delays.append(clock.of(trace.sample[at]) - onset_s if at is not None else None)
        beyond = np.flatnonzero(moving_average(trace)[after] > limit)
        delays.append(clock.of(trace.sample[first + beyond[0]]) - onset_s if len(beyond) else None)
        found[case.name] = {
            "delays": delays,
            "onset": _change_point(trace, sim.t_s, plan.at_s, rng),
        }
    return found


def _first_alarm(detector: PageHinkley | ADWIN, y: Floats, first: int) -> int | None:
    for at, value in enumerate(y.tolist()):
        detector.update(value)
        if detector.drift_detected and at >= first:
            return at
    return None


def _change_point(trace: Trace, t_s: Floats, at_s: float, rng: np.random.Generator) -> float:
    """Error (s) of the best single change of the mean in half-second means about the onset.

    The window reaches from about a minute before the onset to half a minute after it.
    """
    times = t_s[trace.sample]
    begin = int(np.searchsorted(times, at_s - _BEFORE_S - rng.uniform(0.0, 20.0)))
    end = int(np.searchsorted(times, at_s + _AFTER_S))
    count = (end - begin) // 5
    means = trace.y[begin : begin + count * 5].reshape(count, 5).mean(axis=1)
    search = ruptures.Binseg(model="l2", min_size=2, jump=1).fit(means)
    at = search.predict(n_bkps=1)[0]
    return float(times[begin + at * 5] - 0.1 - at_s)
