"""The signal that the boom is judged by, from the samples alone.

Log conductance at 10 Hz: flow by the times of the pulses' edges over the root of pressure, delayed
as the meter delays the flow. Computed here and not by the monitor, so that the bounds and the
reference detectors do not depend on what is measured against them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flowlog.rig.model import Rig
from flowlog.simulator.noise import first_order
from flowlog.simulator.run import Simulated

Floats = NDArray[np.float64]

SETTLE_S = 2.0
HOLD_BACK_S = 0.5
LAG_S = 0.2
LEARN_S = 300.0
STEP_S = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """The settled samples of a run, arrays of shape (n,)."""

    y: Floats
    """Log conductance less its mean over the first `LEARN_S`."""
    flow: Floats
    """Flow over its mean in the same time, less one."""
    sample: NDArray[np.int64]
    """Number of each sample in the run."""

    def pieces(self) -> list[NDArray[np.int64]]:
        """Indices of the unbroken passes."""
        return np.split(np.arange(len(self.sample)), np.flatnonzero(np.diff(self.sample) != 1) + 1)


def trace_of(run: Simulated, rig: Rig) -> Trace:
    """The trace of a run on a board with edge times and a boom-valve input, without resets."""
    samples = run.samples
    pulses = np.diff(samples.column("pulses"), prepend=0)
    edge_s = np.diff(samples.column("edge_us"), prepend=0) % (1 << 32) * 1e-6
    flow = np.where(pulses > 0, pulses / np.maximum(edge_s, 1e-6) / rig.meter.pulses_per_m3, 0.0)
    gauge = rig.gauge
    code = samples.column("adc_sum") / np.maximum(samples.column("adc_n"), 1) + 0.5
    full = 1 << run.scenario.board.adc_bits
    share = (code / full - gauge.zero_share) / (gauge.span_share - gauge.zero_share)
    root = np.sqrt(np.maximum(share * gauge.span_pa, 1.0))
    delayed = first_order(root, LAG_S, STEP_S, float(root[0]))

    opened = samples.column("valve") == 1
    settle, hold = round(SETTLE_S / STEP_S), round(HOLD_BACK_S / STEP_S)
    since = _run_length(opened)
    until = _run_length(opened[::-1])[::-1]
    at = np.flatnonzero((since > settle) & (until > hold) & (flow > 0.0))
    y = np.log(flow[at] / delayed[at])
    learn = round(LEARN_S / STEP_S)
    return Trace(y - y[:learn].mean(), flow[at] / flow[at][:learn].mean() - 1.0, at)


def _run_length(state: NDArray[np.bool_]) -> NDArray[np.int64]:
    """How many samples in a row it has been true, this one included."""
    at = np.arange(1, len(state) + 1)
    return at - np.maximum.accumulate(np.where(state, 0, at))
