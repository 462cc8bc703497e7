"""Air in the suction line: a tank that runs out, a leaking fitting, foam."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flowlog.simulator.noise import autoregressive, generator
from flowlog.simulator.plan import Fault, Scenario

Floats = NDArray[np.float64]

RUN_OUT_S = 8.0
"""From the first gulp of air to nothing but air."""
MOST = 0.98
"""Share of air above which nothing worth the name is pumped."""

_BURSTS = {"tank empty": (0.35, 0.4), "air": (0.8, 0.4), "foam": (0.3, 1.0)}
"""Spread of the logarithm of the share, and its time constant (s)."""


def void_share(scenario: Scenario, faults: list[Fault], middle_s: Floats, step_s: float) -> Floats:
    """Share of air (0 to 1) in what the pump draws, shape of `middle_s`.

    Gulps, not a steady stream: the share wanders log-normally about its mean, and the tank that
    runs out ends in pure air.
    """
    total = np.zeros(len(middle_s))
    for number, fault in enumerate(faults):
        spread, tau_s = _BURSTS[fault.kind]
        rng = generator(scenario.seed, f"{fault.kind} {number}")
        gulps = autoregressive(rng, len(middle_s), spread, tau_s, step_s)
        over_s = fault.over_s or (RUN_OUT_S if fault.kind == "tank empty" else 0.0)
        since = middle_s - fault.at_s
        if over_s > 0:
            grown = np.clip(since / over_s, 0.0, 1.0)
        else:
            grown = (since >= 0.0).astype(np.float64)
        mean = np.where(middle_s < fault.until_s, fault.full_size * grown, 0.0)
        share = mean * np.exp(gulps - 0.5 * spread**2)
        if fault.kind == "tank empty":
            share = np.where(mean >= 0.999, 1.0, share)
        total += share
    return np.where(total >= MOST, 1.0, np.clip(total, 0.0, 1.0))


def run_outs(fills: list[tuple[float, float]], middle_s: Floats, drawn_m3: Floats) -> list[Fault]:
    """The moments at which the tank runs out, as faults that end with the next filling.

    `fills` are (time, volume) with the start as the first; `drawn_m3` is what would have been
    drawn since the start, had the tank no bottom.
    """
    found = []
    for i, (at_s, volume) in enumerate(fills):
        until_s = fills[i + 1][0] if i + 1 < len(fills) else np.inf
        first, last = np.searchsorted(middle_s, [at_s, until_s])
        already = drawn_m3[first - 1] if first else 0.0
        over = np.flatnonzero(drawn_m3[first:last] - already >= volume)
        if len(over):
            found.append(Fault("tank empty", float(middle_s[first + over[0]]), until_s=until_s))
    return found
