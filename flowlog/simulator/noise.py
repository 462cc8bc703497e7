"""How rough the simulated rig runs, and the filters that shape its noise.

The levels are assumptions, plausible for this class of hardware (common practice, no source): a
turbine repeats to about half a per cent, its vanes are unevenly spaced by a per cent or two, a
small pump's pressure wanders by a few per cent and carries a ripple of the stroke frequency.
"field" is what detection goals are stated for.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.errors import FlowlogError

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Noise:
    """Levels. Shares are standard deviations relative to the value, unless said otherwise."""

    swirl_share: float = 0.01
    """Slow error of the meter by turbulence and swirl, which pressure does not show: AR(1)."""
    swirl_tau_s: float = 2.0
    supply_share: float = 0.02
    """Pressure as the pump drives it, AR(1); flow follows by the square-root law."""
    supply_tau_s: float = 2.0
    wander_share: float = 0.015
    """Pressure set point, AR(1), slow; flow follows."""
    wander_tau_s: float = 600.0
    vane_share: float = 0.015
    """Rms of the fixed error of each vane's place, in pulse pitches."""
    count_share: float = 0.005
    """White error of the flow seen in one sample period."""
    ripple_share: tuple[float, float] = (0.02, 0.06)
    """Amplitude of the pump's pressure ripple, drawn from this range."""
    ripple_hz: tuple[float, float] = (10.0, 30.0)
    adc_lsb: float = 0.5
    """White noise of one ADC reading."""
    bubbles_per_h: float = 0.0
    """Bursts of 0.3-1.2 s that move the meter by 5-30 % up or down."""
    rough_pass_share: float = 0.0
    """Part of the passes in which the swirl is rougher, drawn pass by pass."""
    rough_pass_factor: float = 2.5
    """By how much it is rougher there."""
    speed_share: float = 0.02
    """Ground speed, AR(1) with 3 s."""


NOISES: Final[dict[str, Noise]] = {
    "none": Noise(
        swirl_share=0.0,
        supply_share=0.0,
        wander_share=0.0,
        vane_share=0.0,
        count_share=0.0,
        ripple_share=(0.0, 0.0),
        adc_lsb=0.0,
        speed_share=0.0,
    ),
    "quiet": Noise(
        swirl_share=0.003,
        supply_share=0.005,
        wander_share=0.005,
        vane_share=0.005,
        count_share=0.002,
        ripple_share=(0.005, 0.015),
        adc_lsb=0.5,
        speed_share=0.01,
    ),
    "field": Noise(),
    "harsh": Noise(swirl_share=0.03, supply_share=0.03, bubbles_per_h=6.0, speed_share=0.04),
}


def noise_called(name: str) -> Noise:
    """The levels of that name.

    Raises:
        FlowlogError: If there is none.
    """
    if name not in NOISES:
        raise FlowlogError(f"{name!r} is not a noise level (one of: {', '.join(NOISES)})")
    return NOISES[name]


def generator(seed: int, purpose: str) -> np.random.Generator:
    """A generator of its own for each purpose.

    So one more fault in a scenario does not change the noise of everything else in it.
    """
    return np.random.default_rng([seed, zlib.crc32(purpose.encode())])


def smooth(drive: Floats, keep: float, start: float = 0.0) -> Floats:
    """y[k] = keep * y[k-1] + drive[k] with y[-1] = start, without a loop over samples.

    1 / (1 - a z) is the product of (1 + a^(2^j) z^(2^j)), so log2 passes of shifted additions
    give the recursion exactly, as soon as a^(2^j) has vanished.
    """
    y = drive.astype(np.float64, copy=True)
    if len(y) == 0:
        return y
    y[0] += keep * start
    shift, factor = 1, keep
    while shift < len(y) and abs(factor) > 1e-17:
        y[shift:] += factor * y[:-shift]
        shift, factor = shift * 2, factor * factor
    return y


def first_order(values: Floats, tau_s: float, step_s: float, start: float) -> Floats:
    """What stands behind a first-order lag: the mean over each step.

    The input is constant within a step. Means, not end values, so that nothing is lost or gained:
    the sum of the output is that of the input.
    """
    if tau_s <= 0 or len(values) == 0:
        return values.astype(np.float64, copy=True)
    keep = float(np.exp(-step_s / tau_s))
    end = smooth((1.0 - keep) * values, keep, start)
    begin = np.concatenate(([start], end[:-1]))
    return np.asarray(values + (begin - values) * ((1.0 - keep) * tau_s / step_s))


def autoregressive(
    rng: np.random.Generator, n: int, sigma: float, tau_s: float, step_s: float
) -> Floats:
    """n steps of a stationary AR(1) with standard deviation `sigma` and time constant `tau_s`."""
    if sigma == 0.0 or n == 0:
        return np.zeros(n)
    # A slow process is drawn on a coarse grid and joined by lines: nothing is lost below tau.
    stride = max(1, int(tau_s / step_s / 60.0))
    points = n // stride + 2 if stride > 1 else n
    keep = float(np.exp(-step_s * stride / tau_s))
    drive = rng.standard_normal(points) * (sigma * (1.0 - keep * keep) ** 0.5)
    drive[0] = rng.standard_normal() * sigma
    coarse = smooth(drive, keep)
    if stride == 1:
        return coarse
    return np.interp(np.arange(n) / stride, np.arange(points), coarse)
