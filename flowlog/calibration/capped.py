"""The capped-tip check: how this rig's supply answers a tip that passes nothing.

Water is sprayed with all tips, with one of them capped, and with all again. Flow over the root of
pressure falls by what the tip passed; that proves on the very rig that flowlog sees a blocked
tip. And the pressure rises: ln P by `share` times the fall of ln(Q / P^0.5), about 0.15 with a
stiff relief valve and 0.6 with a centrifugal pump (worked out from the steady network, see the
tests). A flow sensor that reads low looks the same and moves no pressure, so that a known share
tells the two apart.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar, Final

import numpy as np

from flowlog.calibration.baseline_noise import PRIOR_DENSITY_S, Floats, Noise, noise_of
from flowlog.calibration.capped_doubts import MOST_MORE, refuse, refuse_answer, remarks
from flowlog.calibration.capped_fit import Believed, Difference, difference, expected_u
from flowlog.calibration.capped_runs import (
    Seconds,
    Sprayed,
    need_a_b_a,
    seconds_of,
    which_capped,
)
from flowlog.calibration.faults import Remark
from flowlog.calibration.stored import Stored
from flowlog.calibration.uncertainty import Budget, Component, budget

ANSWER: Final = "answer of the pressure"
PRESSURE_DENSITY_S: Final = 1.6e-3
"""Twice 2 % squared times 2 s: how a small pump's pressure moves over seconds (common practice,
no source)."""
WALK_S: Final = 7.5e-7
"""Variance of log pressure that a second adds: 1.5 % with 10 min, 2 * 0.015^2 / 600 s, for the
slow wander of a small pump's pressure (common practice, no source)."""
_FORGETS_S: Final = 2.0
"""Correlation time of both noises, as in their densities above."""
_WALK_DOF: Final = 4.0
"""It is known from pump to pump to a factor of two or so."""
_BEFORE_S: Final = 30.0
_AFTER_S: Final = 25.0
"""An alert compares the pressure of half a minute before with that of 25 s after, when its name
is said for the last time."""
TOLD_APART: Final = 2.0
"""Distance of two normal distributions in their standard deviations at which the nearer one is
the right one in 84 of 100 cases."""
_OFTEN: Final = 1.0
"""At this distance in 69 of 100."""


@dataclass(frozen=True, slots=True)
class Spraying:
    """Means of one spraying."""

    capped: bool
    at_s: float
    """Middle of it, seconds since the middle of the first."""
    seconds: float
    flow_m3_s: float
    pressure_pa: float


@dataclass(frozen=True, slots=True)
class CappedResult(Stored):
    """What a capped tip did to flow and pressure."""

    kind: ClassVar[str] = "capped"
    EVIDENCE: ClassVar[frozenset[str]] = frozenset({"sprayings", "tips", "tick_s"})
    UNCERTAINTY: ClassVar[frozenset[str]] = frozenset(
        {"shift", "rise", "blocked", "answer", "noise", "pressure_noise"}
    )

    sprayings: tuple[Spraying, ...]
    tips: int
    tick_s: float
    share: float
    """Rise of ln P over fall of ln(Q / P^0.5). By noise it may come out a little below zero."""
    share_u: float
    """Standard uncertainty of it; half its 95 % interval where few sprayings widen that."""
    shift: Budget
    """Of ln(Q / P^0.5), below zero."""
    rise: Budget
    """Of ln P."""
    blocked: Budget
    """What flowlog sees missing, tips."""
    answer: Budget
    """`share` with its causes of doubt."""
    noise: Noise
    """Of ln(Q / P^0.5)."""
    pressure_noise: Noise
    """Of ln P while spraying."""
    more: int
    """Sprayings more, capped and not in turn, until the share is known well enough; 0 when it is,
    -1 if even eight would not do."""
    remarks: tuple[Remark, ...] = ()

    @property
    def pressure_pa(self) -> float:
        """With all tips."""
        own = [math.log(one.pressure_pa) for one in self.sprayings if not one.capped]
        return math.exp(math.fsum(own) / len(own))

    @property
    def watched_sd(self) -> float:
        """How well an alert knows by how much ln P moved."""
        return _watched_sd(self.pressure_noise.density_s)

    @property
    def good_enough(self) -> bool:
        """Whether the share adds no more doubt to an alert than the pressure's noise does."""
        return self.more == 0

    @property
    def distance(self) -> float:
        """Between a blocked tip and a flow sensor that reads low by as much, in standard
        deviations of what an alert knows of the pressure."""
        return self._distance(self.share)

    @property
    def told_apart(self) -> str:
        """Whether these two can be, in words: "can", "can often" or "can hardly"."""
        return _words(self.distance)

    @property
    def told_surely(self) -> bool:
        """Whether both ends of the answer's 95 % interval say the same of it."""
        low, high = self.answer.interval
        return _words(self._distance(low)) == _words(self._distance(high))

    def _distance(self, share: float) -> float:
        return share * abs(self.shift.value) / self.watched_sd


def _words(distance: float) -> str:
    if distance >= TOLD_APART:
        return "can"
    return "can often" if distance >= _OFTEN else "can hardly"


def capped(
    sprayed: Sequence[Sprayed], *, tips: int, tick_s: float, working_pa: float | None = None
) -> CappedResult:
    """The result of a check.

    Args:
        sprayed: settled ticks of three sprayings or more, in the order of time; which of them
            had the tip capped is seen from themselves.
        tips: of the whole boom.
        tick_s: length of a tick.
        working_pa: at which the rig works, to remark on a check far from it.

    Raises:
        CalibrationError: what is no check; see `need_a_b_a` and `seconds_of`. Also a fall that
            is none or too large, and a regulator that was turned in between.
    """
    found = seconds_of(sprayed, tick_s)
    which = which_capped(found, tips)
    need_a_b_a(which, found, tips)
    noise = _noise([one.conductance for one in found], found, PRIOR_DENSITY_S)
    pressure_noise = _noise([one.pressure for one in found], found, PRESSURE_DENSITY_S)
    at_s = [one.at_s - found[0].at_s for one in found]
    seconds = [one.seconds for one in found]
    if any(later <= earlier for earlier, later in pairwise(at_s)):
        raise ValueError("sprayings must be in the order of time")
    fall = difference(
        [one.log_conductance for one in found], which, at_s, seconds,
        Believed(noise.density_s, noise.dof),
    )  # fmt: skip
    rise = difference(
        [one.log_pressure for one in found], which, at_s, seconds,
        Believed(pressure_noise.density_s, pressure_noise.dof, WALK_S, _WALK_DOF),
    )  # fmt: skip
    refuse(found, which, tips, fall, rise)
    left = tips * math.exp(fall.value)
    answer = _answer(fall, rise)
    refuse_answer(answer, rise)
    result = CappedResult(
        sprayings=_means(found, which),
        tips=tips,
        tick_s=tick_s,
        share=answer.value,
        # As much as makes the 95 % interval, which few sprayings widen, two of it.
        share_u=max(answer.u, 0.5 * answer.expanded),
        shift=budget("fall of ln(Q/P^0.5)", fall.value, None, [_noise_of(fall, 1.0, _FLOW)]),
        rise=budget("rise of ln P", rise.value, None, _pressure_parts(rise, 1.0)),
        blocked=budget("missing tips", tips - left, None, [_noise_of(fall, -left, _FLOW)]),
        answer=answer,
        noise=noise,
        pressure_noise=pressure_noise,
        more=_more(found, which, at_s, fall, answer, pressure_noise.density_s),
    )
    told = remarks(
        result.blocked, answer, tips, result.more, result.pressure_pa, working_pa
    )  # fmt: skip
    return dataclasses.replace(result, remarks=told)


def _noise(values: Sequence[Floats], found: Sequence[Seconds], prior_density_s: float) -> Noise:
    """Noise while spraying; with more of it than is usual believed where the seconds show it."""
    whole = np.concatenate(values)
    number = np.repeat(np.arange(len(values)), [len(one) for one in values])
    second_s = found[0].second_s
    usual = noise_of(whole, number, second_s, prior_density_s)
    # Half a minute tells the size of the noise far better than how slow it is.
    lost = min(2.0 * _FORGETS_S / float(np.mean([one.seconds for one in found])), 0.5)
    seen = 2.0 * _FORGETS_S * usual.sigma**2 / (1.0 - lost)
    return usual if seen <= prior_density_s else noise_of(whole, number, second_s, seen)


_FLOW: Final = "noise of flow and pressure"


def _noise_of(found: Difference, factor: float, name: str) -> Component:
    return Component(name, found.value, found.noise_u, factor * found.noise_u, found.noise_dof)


def _pressure_parts(rise: Difference, factor: float) -> list[Component]:
    return [
        _noise_of(rise, factor, "noise of the pressure"),
        Component(
            "wander of the pressure between sprayings", rise.value, rise.wander_u,
            factor * rise.wander_u, rise.wander_dof,
        ),
    ]  # fmt: skip


def _answer(fall: Difference, rise: Difference) -> Budget:
    share = -rise.value / fall.value
    parts = _pressure_parts(rise, -1.0 / fall.value)
    # An error of the gauge would move both, and against one another: counted apart is careful.
    parts.append(_noise_of(fall, -share / fall.value, _FLOW))
    return budget(ANSWER, share, None, parts)


def _means(found: Sequence[Seconds], which: Sequence[bool]) -> tuple[Spraying, ...]:
    return tuple(
        Spraying(
            one_capped, one.at_s - found[0].at_s, one.seconds,
            math.exp(one.log_conductance + 0.5 * one.log_pressure), math.exp(one.log_pressure),
        )
        for one, one_capped in zip(found, which, strict=True)
    )  # fmt: skip


def _watched_sd(density_s: float) -> float:
    return math.sqrt(density_s * (1.0 / _BEFORE_S + 1.0 / _AFTER_S))


def _more(
    found: Sequence[Seconds], which: Sequence[bool], at_s: Sequence[float],
    fall: Difference, answer: Budget, density_s: float,
) -> int:  # fmt: skip
    """See `CappedResult.more`."""
    wanted = _watched_sd(density_s) / abs(fall.value)
    half = 0.5 * answer.expanded
    if max(answer.u, half) <= wanted:
        return 0
    kinds, times = list(which), list(at_s)
    seconds = [one.seconds for one in found]
    apart = (times[-1] - times[0]) / (len(times) - 1)
    now = expected_u(kinds, times, seconds, density_s, WALK_S)
    for more in range(1, MOST_MORE + 1):
        kinds.append(not kinds[-1])
        times.append(times[-1] + apart)
        seconds.append(float(np.mean(seconds)))
        # It ends with all tips, as the boom is wanted afterwards.
        if kinds[-1]:
            continue
        better = expected_u(kinds, times, seconds, density_s, WALK_S) / now
        if better * max(answer.u, half) <= wanted:
            return more
    return -1
