"""Makes a board's samples from flow and pressure over time, for tests of the pipeline.

Not the simulator: no hydraulics, no noise unless asked for. What the pipeline should say about
these samples can be worked out by hand.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from flowlog.rig.model import Board, Boom, Gauge, Meter, Rig, Tank, Tip, Work
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

PSI = 6894.757293168
GPM = 3.785411784e-3 / 60.0
MODULUS = 1 << 32


def make_rig(tips: int = 8, **changes) -> Rig:
    """A boom of 0.5 gal/min tips at 40 psi and 20 in, asked for what it gives at 40 psi."""
    boom = Boom(tips, 0.508, Tip(0.5 * GPM, 40 * PSI), 25 * PSI, 50 * PSI)
    speed = 1.5
    parts = {
        "name": "test cart",
        "boom": boom,
        "work": Work(tips * 0.5 * GPM / (speed * boom.effective_width_m), speed),
        "meter": Meter(450e3, 2e-3 / 60, 60e-3 / 60),
        "gauge": Gauge(100 * PSI),
        "board": Board("/dev/null"),
        "tank": Tank(0.2, 0.02),
    }
    parts.update(changes)
    return Rig(**parts)


HELLO = Hello(1, 0, 1, "test", "bench", "power", 100, 10, "FP")


def make_samples(
    rig: Rig,
    seconds: float,
    flow: Callable[[np.ndarray], np.ndarray],
    pressure: Callable[[np.ndarray], np.ndarray],
    *,
    start_s: float = 0.0,
    boot: int = 1,
    first_seq: int = 0,
    start_pulses: float = 0.0,
    noise: float = 0.0,
    seed: int = 1,
) -> Samples:
    """Samples at 10 Hz. `flow` and `pressure` are functions of an array of seconds, SI."""
    n = round(seconds * 10)
    # The plant runs at 1 kHz, so that edges fall where a board would see them.
    fine = start_s + np.arange(n * 100 + 1) * 1e-3
    q = np.maximum(flow(fine), 0.0) * np.ones_like(fine)
    if noise:
        q = q * np.exp(_wander(n + 1, noise, seed)[np.arange(len(fine)) // 100])
    turned = (
        start_pulses
        + np.concatenate([[0.0], np.cumsum((q[1:] + q[:-1]) * 0.5e-3)]) * rig.meter.pulses_per_m3
    )
    at = np.arange(1, n + 1) * 100
    pulses = np.floor(turned[at]).astype(np.int64)
    edge_s = np.interp(pulses, turned + np.arange(len(turned)) * 1e-12, fine)
    edge_s[pulses == 0] = 0.0
    p = pressure(fine) * np.ones_like(fine)
    share = rig.gauge.zero_share + (rig.gauge.span_share - rig.gauge.zero_share) * (
        p / rig.gauge.span_pa
    )
    codes = np.clip(np.round(share * 1024 + 0.5 * np.sin(fine * 150.0)), 0, 1023)
    codes = codes[1:].reshape(n, 100).astype(np.int64)
    clock = np.round(fine[at] * 1e6).astype(np.int64)
    table = np.column_stack(
        [
            np.full(n, boot),
            first_seq + np.arange(n),
            clock % MODULUS,
            pulses % MODULUS,
            np.round(edge_s * 1e6).astype(np.int64) % MODULUS,
            codes.sum(axis=1),
            np.full(n, 100),
            codes.min(axis=1),
            codes.max(axis=1),
            np.full(n, -1),
            np.full(n, -1),
            np.full(n, -1),
        ]
    )
    return Samples(table.astype(np.int64))


def _wander(n: int, spread: float, seed: int) -> np.ndarray:
    """Gaussian noise at 10 Hz with a correlation time of two seconds."""
    white = np.random.default_rng(seed).normal(0.0, 1.0, n)
    decay = np.exp(-0.1 / 2.0)
    out = np.empty(n)
    now = white[0]
    for i in range(n):
        now = decay * now + np.sqrt(1 - decay**2) * white[i]
        out[i] = now
    return spread * out
