"""Which fault moved the boom's conductance? Weighs the classes that two sensors can tell apart.

What is weighed: how far the log conductance moved, how the pressure answered, how rough the flow
has been since, and whether it came with the boom's opening after a pause (a refill). Each class
says how likely it makes these; Bayes' rule gives the probabilities. Where two classes make the same
things likely, the probabilities say so, and the event names both.

The shares before anything is seen are a judgement (common practice, no source): most often a whole
tip clogs; a rotor fouls about as often as a part of a tip.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import erf, erfc, exp, log, pi, sqrt
from typing import Final

from flowlog.monitor.supply import UNKNOWN, Answers, PressureAnswer
from flowlog.physics.tips import blocked_tips

MIX_LOG: Final = 0.068
"""A mix may be so much denser or lighter than the last one: 13 % of density (water to a third of
a strong fertiliser solution). A shift beyond this is never taken for a mix."""

_BEFORE: Final = {
    "tip_blocked": 0.50,
    "boom_leak": 0.25,
    "meter_low": 0.20,
    "meter_double": 0.04,
    "foam": 0.12,
    "mix_changed": 0.0,
}
_MIX_BEFORE: Final = 2.0
"""Relative to the others, for a shift that came with the first spraying after a pause."""

_AS_MADE: Final = 0.04
"""In tips: by how much a whole blocked tip may differ from the mean one."""
_WHOLE: Final = 0.6
_NEXT: Final = 0.5
"""Each further whole tip is half as likely."""
_NO_ANSWER: Final = 0.01
"""Of a hundred pressures that should have answered one is held by something else (a regulator that
sticks, a gauge that hangs): no evidence counts for more than that."""
_MOST_NATS: Final = 100.0
"""More is certain already, and would not fit into a number."""
_ROUGH_OF_OWN: Final = 0.05
"""Variance of the log of a variance's ratio, beyond what its ticks are too few for: the usual news,
that it is held against, are known to a fifth."""
_ROUGH_WIDE: Final = 2.3
"""How far the log goes in rough passes."""
_GASSY: Final = (0.6, 3.1)
"""The same for gas in the liquid: from less than twice to twenty times."""


@dataclass(frozen=True, slots=True)
class Roughness:
    """How the flow has run since an onset."""

    ratio: float | None
    """Variance of its news over the usual one; None while too short."""
    ticks: int = 12
    """From so many ticks."""
    gulps: float | None = None
    """Log likelihood that gulps of gas make the samples wander, against that none do. Where there
    is one it holds all that the ticks could tell."""


@dataclass(frozen=True, slots=True)
class Signs:
    """What is known of a shift of the boom's conductance."""

    tips: int
    shift: float
    """Of the log conductance since the onset."""
    shift_sd: float
    answer: PressureAnswer | None
    roughness: Roughness | None
    """None where nothing is known of it."""
    after_pause: bool
    """It came with the first spraying after a pause in which the tank may have been filled."""
    answers: Answers = UNKNOWN
    """By how much log pressure may rise for a fall of the boom's log conductance by one."""


def weigh(signs: Signs) -> dict[str, float]:
    """Probability of each class, largest first; they add up to one."""
    before = dict(_BEFORE)
    if signs.after_pause:
        before["mix_changed"] = _MIX_BEFORE
    weights = {code: share * _LIKELIHOODS[code](signs) for code, share in before.items()}
    total = sum(weights.values())
    if total <= 0.0:
        # Further out than any class reaches: the direction is all that is left.
        code = "tip_blocked" if signs.shift < 0.0 else "boom_leak"
        return {code: 1.0}
    ordered = sorted(weights.items(), key=lambda item: -item[1])
    return {code: weight / total for code, weight in ordered if weight > 0.0}


def reweigh(known: Mapping[str, float], signs: Signs, step: float) -> dict[str, float]:
    """Probabilities after a fault grew: what was known of it, and what came since.

    Args:
        known: Probabilities before it grew.
        signs: As they are since; the answer is that to the growth alone.
        step: By how much the shift grew.
    """
    reached = replace(signs, answer=None, roughness=None)
    grown = replace(signs, shift=step)
    weights = {
        code: share * _answered(grown, _shares(code, signs)) * _RUNS.get(code, _quiet)(signs)
        for code, share in known.items()
        if _LIKELIHOODS[code](reached) > 0.0
    }
    total = sum(weights.values())
    if total <= 0.0:
        return weigh(reached)
    ordered = sorted(weights.items(), key=lambda item: -item[1])
    return {code: weight / total for code, weight in ordered if weight > 0.0}


def _normal(value: float, mean: float, sd: float) -> float:
    away = (value - mean) / sd
    return exp(-0.5 * away * away) / (sd * sqrt(2.0 * pi))


def _answered(signs: Signs, answers: Answers) -> float:
    """Likelihood of the pressure's answer if it is one of these shares of the shift, against it.

    Relative to that of no answer.
    """
    if signs.answer is None:
        return 1.0
    answered = 0.0
    for share, weight in answers:
        nats = signs.answer.nats(-share * signs.shift) if share else 0.0
        answered += weight * exp(min(nats, _MOST_NATS))
    return _NO_ANSWER + (1.0 - _NO_ANSWER) * answered


def _quiet(signs: Signs) -> float:
    """Density of the roughness if nothing but the fields' own makes it; against this, of gulps."""
    seen = signs.roughness
    if seen is None or seen.gulps is not None or seen.ratio is None:
        return 1.0
    rough = log(max(1.0, seen.ratio))
    wide = 1.0 / _ROUGH_WIDE if rough < _ROUGH_WIDE else 0.0
    return 0.9 * _normal(rough, 0.0, _rough_sd(seen)) * 2.0 + 0.1 * wide


def _rough_sd(seen: Roughness) -> float:
    """Of the log of a roughness: that of a mean of squares, and the reference's own."""
    return sqrt(2.0 / seen.ticks + _ROUGH_OF_OWN)


def _tip(signs: Signs) -> float:
    if signs.shift >= 0.0:
        return 0.0
    tips = float(signs.tips)
    passes = exp(signs.shift)
    blocked = blocked_tips(signs.tips, signs.shift)
    sd = sqrt((tips * passes * signs.shift_sd) ** 2 + _AS_MADE**2)
    whole = weight = 0.0
    share = 1.0
    for number in range(1, signs.tips + 1):
        whole += share * _normal(blocked, number, sd)
        weight += share
        share *= _NEXT
    density = _WHOLE * whole / weight
    if 0.1 < blocked < tips:
        density += (1.0 - _WHOLE) * 0.5 ** (blocked - 1.0) / (2.0 / log(2.0))
    # From density over tips to density over the shift.
    return density * tips * passes * _answered(signs, signs.answers) * _quiet(signs)


def _leak(signs: Signs) -> float:
    if not 0.02 < signs.shift < 1.5:
        return 0.0
    spread = 1.0 / (signs.shift * log(75.0))
    return spread * _answered(signs, signs.answers) * _quiet(signs)


def _meter_low(signs: Signs) -> float:
    if not -2.0 < signs.shift < 0.0:
        return 0.0
    return 0.5 * _answered(signs, _shares("meter_low", signs)) * _quiet(signs)


def _meter_double(signs: Signs) -> float:
    if signs.shift <= 0.0:
        return 0.0
    near = _normal(signs.shift, log(2.0), sqrt(signs.shift_sd**2 + 0.03**2))
    wide = 0.5 if signs.shift < 2.0 else 0.0
    return (
        (0.8 * near + 0.2 * wide) * _answered(signs, _shares("meter_double", signs)) * _quiet(signs)
    )


def _mix(signs: Signs) -> float:
    # What is measured beyond the limit may lie within it in truth.
    within = 0.5 * erfc((abs(signs.shift) - MIX_LOG) / (signs.shift_sd * sqrt(2.0)))
    # How the pressure answers a denser mix depends on the pump: it may rise or stay.
    return 0.5 / MIX_LOG * within * _answered(signs, _shares("mix_changed", signs)) * _quiet(signs)


def _foam(signs: Signs) -> float:
    """Gas in the liquid: reads high and rough, and the pump delivers a little less."""
    if not 0.0 < signs.shift < 0.5:
        return 0.0
    spread = 1.0 / (signs.shift * log(25.0))
    return spread * _answered(signs, _shares("foam", signs)) * _gassy(signs)


def _gassy(signs: Signs) -> float:
    """Density of the roughness if gas makes it."""
    seen = signs.roughness
    if seen is None:
        return 1.0
    if seen.gulps is not None:
        return exp(min(seen.gulps, _MOST_NATS))
    if seen.ratio is None:
        return 1.0
    rough = log(max(1.0, seen.ratio))
    # Even over a factor of two to twenty, measured as well as a quiet one would be.
    sd = _rough_sd(seen)
    low, high = ((end - rough) / (sd * sqrt(2.0)) for end in _GASSY)
    return 0.5 * (erf(high) - erf(low)) / (_GASSY[1] - _GASSY[0])


_LIKELIHOODS: Final[dict[str, Callable[[Signs], float]]] = {
    "tip_blocked": _tip,
    "boom_leak": _leak,
    "meter_low": _meter_low,
    "meter_double": _meter_double,
    "foam": _foam,
    "mix_changed": _mix,
}


def _of_own(signs: Signs, *parts: float) -> Answers:
    """The boom's own answers times each of these parts, one as likely as the other."""
    return tuple(
        (part * share, weight / len(parts)) for part in parts for share, weight in signs.answers
    )


def _shares(code: str, signs: Signs) -> Answers:
    """By how much log pressure may move against the shift.

    What a pump delivers follows ln P = -s ln Q about its working point, the boom ln P = 2 ln(Q/G):
    a boom that passes more by g moves ln P by -g 2s / (2 + s), its own answer. Gas that takes the
    place of a share of what the pump delivers moves it alike, by the same algebra; gas that is
    still dissolved there moves it less. A mix moves G by density^-0.5: where a valve holds the
    pressure there is no answer, a pump that displaces gives the boom's own, and one that builds up
    its pressure by speed, in proportion to the density, adds ln(density) = -2g, which makes twice
    the shift, or something in between behind a regulator.
    """
    if code in {"meter_low", "meter_double"}:
        return _NONE
    if code == "foam":
        return _of_own(signs, 0.0, 0.5, 1.0)
    if code == "mix_changed":
        return tuple(
            (share, weight / 4.0)
            for share, weight in (*_NONE, *signs.answers, (1.0, 1.0), (2.0, 1.0))
        )
    return signs.answers


_NONE: Final[Answers] = ((0.0, 1.0),)

_RUNS: Final[dict[str, Callable[[Signs], float]]] = {"foam": _gassy}
