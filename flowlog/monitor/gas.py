"""Gas in the liquid comes in gulps: do the samples since an onset wander as gulps make them?

A leak moves the flow and leaves it as quiet as it was; foam moves it by its mean share, and that
share wanders. By how much follows from the shift itself, how fast from how long a gulp takes to
pass. Ticks of half a second need many seconds to show this. Ten samples a second show it in two:
whitened by the noise from before the onset, their spectrum is even if nothing else came, and is
raised below a hertz or two by gulps. Each line of it is told by the density of an exponential
variable (Whittle's likelihood; from memory); the line at zero, which is the level, is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.autoregression import ORDER, Autoregression, fit, runs_of
from flowlog.monitor.close_up import Series
from flowlog.monitor.conductance import METER_LAG_S
from flowlog.monitor.density import TAU_S

Floats = NDArray[np.float64]

_SHARES: Final = np.array([0.2, 0.4, 0.8])
"""By how much of its mean the share of gas wanders: from a froth to gulps (common practice, no
source). Less, of a mean of a twentieth, would be no more than the swirl that the meter shows."""
_GULPS_S: Final = np.array([0.25, 0.5, 1.0, 2.0])
"""How long a gulp takes to pass: some tenths of a litre of hose and pump (common practice, no
source). Each is as likely as the next, and so is each share."""
_ROUGHER: Final = np.array([0.0, 0.3, 0.5, 1.0, 2.0, 4.0, 9.0])
_ROUGHER_SHARE: Final = np.array([0.45, 0.45, 0.02, 0.02, 0.02, 0.02, 0.02])
"""Swirl may be stronger than it was before, by so much of the usual: a minute of it tells its slow
part, a dozen spans of its memory, to about a third; and in one case of ten the ground became
rougher just then, up to ten times in all."""
_FOLLOWED: Final = 0.25
"""What the rotor still has to follow of a step, over the spread of a sample's news: by then its
square adds a sixteenth to that of one sample."""
_ONSET_DOUBT_S: Final = 0.15
"""As long as the close-up may be off by, for a step."""
_GUARD_S: Final = 3.0
_FITTED_S: Final = 60.0
"""The noise is fitted to the minute that ends so long before the onset, as the close-up does."""
_LEAST_NEWS: Final = 6
"""Samples: they give two lines."""
_MOST_NEWS: Final = 300
"""Half a minute in one piece tells gulps from none beyond doubt."""


def gulps(
    series: Series, pieces: Sequence[tuple[float, float]], shift: float, density_s: float
) -> float | None:
    """Log likelihood that gulps of gas made the samples wander, against that none did.

    Args:
        series: Up to now; its level does not matter.
        pieces: From when a shift had come to when the next began, in the time of `series`.
        shift: Of the log conductance: what the mean share of gas is taken to be.
        density_s: Of the residual's usual noise at zero frequency.

    Returns:
        None where too little is known of before or since.
    """
    began_s = pieces[0][0]
    before = series.usable & (series.t_s < began_s - _GUARD_S)
    if not before.any():
        return None
    last_s = float(series.t_s[before][-1])
    before &= series.t_s > last_s - _FITTED_S
    noise = fit(series.residual, before, about=float(series.residual[before].mean()))
    if noise is None:
        return None
    sample_s = float(np.median(np.diff(series.t_s[before])))
    follows_s = _ONSET_DOUBT_S + METER_LAG_S * max(
        0.0, log(abs(shift) / (_FOLLOWED * sqrt(noise.variance)))
    )
    gas = np.zeros((len(_SHARES), len(_GULPS_S)))
    ground = np.zeros(len(_ROUGHER))
    told = False
    for begin_s, end_s in pieces:
        inside = (
            series.usable & (series.t_s - sample_s > begin_s + follows_s) & (series.t_s <= end_s)
        )
        for run in _whole(inside):
            told = True
            hz, power, gain = _spectrum(series.residual[run], noise, sample_s)
            gas += _nats(power, gain * _gas_density(hz, shift))
            swirl = density_s / (1.0 + (2.0 * pi * hz * TAU_S) ** 2)
            ground += _nats(power, gain * _ROUGHER[:, None] * swirl)
    if not told:
        return None
    even = np.full(gas.size, 1.0 / gas.size)
    return _mixed(gas.ravel(), even) - _mixed(ground, _ROUGHER_SHARE)


def _mixed(nats: Floats, share: Floats) -> float:
    """Log likelihood of a mixture."""
    most = float(nats.max())
    return most + log(float((share * np.exp(nats - most)).sum()))


def _whole(inside: NDArray[np.bool_]) -> list[slice]:
    """Unbroken runs that are long enough, each cut to its newest samples."""
    lengths = runs_of(inside)
    ends = np.flatnonzero(inside & ~np.append(inside[1:], False))
    runs = []
    for end in ends.tolist():
        length = min(int(lengths[end]), _MOST_NEWS + ORDER)
        if length >= _LEAST_NEWS + ORDER:
            runs.append(slice(end + 1 - length, end + 1))
    return runs


def _spectrum(
    residual: Floats, noise: Autoregression, sample_s: float
) -> tuple[Floats, Floats, Floats]:
    """Frequencies (Hz), the news' power there over what it should be, and a density's gain to it.

    The gain (1/s) is that of the meter, which means over samples behind its lag, and of the
    whitening. All of shape (lines,).
    """
    news = noise.whiten(residual)
    news -= news.mean()
    n = len(news)
    line = np.arange(1, (n - 1) // 2 + 1)
    hz = line / (n * sample_s)
    # Sums, not a library's transform: the same to the last bit whatever it was built with.
    turned = 2.0 * pi / n * (line[:, None] * np.arange(n) % n)
    power = (np.cos(turned) * news).sum(axis=1) ** 2 + (np.sin(turned) * news).sum(axis=1) ** 2
    power /= n * noise.variance
    late = 2.0 * pi * sample_s * hz[:, None] * np.arange(1, ORDER + 1)
    passes = (1.0 - (np.cos(late) * noise.weights).sum(axis=1)) ** 2
    passes += (np.sin(late) * noise.weights).sum(axis=1) ** 2
    passes *= np.sinc(hz * sample_s) ** 2 / (1.0 + (2.0 * pi * hz * METER_LAG_S) ** 2)
    return hz, power, passes / (sample_s * noise.variance)


def _gas_density(hz: Floats, shift: float) -> Floats:
    """Two-sided density (s) of a share of gas that wanders; shape (shares, gulps, lines)."""
    tau_s = _GULPS_S[:, None]
    each = 2.0 * tau_s / (1.0 + (2.0 * pi * hz * tau_s) ** 2)
    return np.asarray((_SHARES * shift)[:, None, None] ** 2 * each)


def _nats(power: Floats, more: Floats) -> Floats:
    """Log likelihood ratio of lines that are raised by `more` of their usual power."""
    nats: Floats = (power * more / (1.0 + more) - np.log1p(more)).sum(axis=-1)
    return nats
