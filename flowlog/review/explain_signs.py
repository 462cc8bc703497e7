"""The signs that an alert about the boom was told by, in numbers: reference, noise, test, pressure.

They are worked out with the monitor's own parts from the ticks that it judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, sqrt
from typing import Final, Literal

import numpy as np

from flowlog.monitor.conductance import ARM_S, TRACK_S, law_of
from flowlog.monitor.noise import DECAY
from flowlog.monitor.outputs import Event
from flowlog.monitor.supply import PressureAnswer, SupplyPoint, answers_of
from flowlog.physics.carrier import carrier_log_shift
from flowlog.review.explain_replay import Floats, Ticks
from flowlog.rig.model import HealthyBoom, Rig

Verdict = Literal["answered", "stayed", "both", "neither"]
"""What the pressure's answer fits: a boom that passes otherwise, a sensor that reads otherwise,
both, or none of them."""

_FITS_SD: Final = 1.96
_REFERENCE: Final = 60
"""Judged ticks before the onset that pressure and noise are compared with: half a minute."""
_SINCE_S: Final = 30.0
"""After it was said: so long the noise is looked at."""
_NEW_LEVEL: Final = 0.01
"""Learning moves the level by less than this from tick to tick."""
_STILL_MOVING: Final = 3
"""Ticks behind the onset that hold its own step."""
_LEAST_TICKS: Final = 6
_JOINED_S: Final = 0.3
"""Ticks farther apart than they are long, by this much, do not follow one another."""


@dataclass(frozen=True, slots=True)
class Reference:
    """The healthy level that the boom was held against."""

    calibrated: bool
    """Else learnt on this route."""
    settled_s: float
    """Settled spraying that it rested on, where it was learnt; at most half an hour counts."""
    flow_m3_s: float
    """What the healthy boom passes at `pressure_pa`."""
    pressure_pa: float
    """Mean over the half minute of settled spraying before the onset."""
    of_new: float
    """Share of what new tips of the rig file would pass at `pressure_pa`."""
    exponent: float
    """Its flow goes with the pressure to this power."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """The test that said it."""

    shift: float
    """Of the log conductance, that it looks for."""
    threshold: float
    nats: float


@dataclass(frozen=True, slots=True)
class Signs:
    """What was known when the alert was said."""

    reference: Reference
    shift: float | None
    """Of the log conductance, as measured when it was said."""
    answer: PressureAnswer | None
    """How log pressure moved; None where too little was seen of before or after."""
    expected: tuple[float, float] | None
    """Least and largest move of log pressure if the boom itself passes otherwise."""
    verdict: Verdict | None
    spread: float
    """95 % of ten-second means of the healthy residual lie within this of zero."""
    roughness: float
    """Noise density of the pass up to the onset over the usual one."""
    rough_since: float | None
    """How much what is new in each tick scatters since it was said, over the half minute before
    the onset, as variances; a step among them does not count."""
    crossing: Crossing | None
    held_back_s: float
    """How long the evidence sufficed before it was said, for too few single ticks agreed."""


def signs_of(
    ticks: Ticks, at_s: Floats, said_s: float, opened: Event, rig: Rig, healthy: HealthyBoom | None
) -> Signs | None:
    """Work the signs out; None where no tick was judged that they could come from.

    Args:
        ticks: all of the route, as far as it was replayed.
        at_s: where they lie, relative to the onset.
        said_s: when the alert was said.
        opened: its first event.
    """
    known = np.flatnonzero(ticks_until(ticks, opened))
    at = int(known[-1]) if len(known) else 0
    if not len(ticks):
        return None
    onset = int(np.searchsorted(at_s, -1e-6, side="left"))
    shift = opened.details.get("shift_log")
    answer = _told(opened) or (_answer(ticks, onset, at) if len(known) else None)
    expected = None
    if shift is not None:
        moves = [-share * shift for share, _ in answers_of(rig.answer)]
        expected = (min(moves, key=abs), max(moves, key=abs))
    calm = max(0, min(onset, len(ticks)) - 1)
    density = float(ticks.density_s[calm])
    return Signs(
        reference=_reference(ticks, onset, calm, rig, healthy),
        shift=shift,
        answer=answer,
        expected=expected,
        verdict=verdict(answer, expected) if answer and expected else None,
        spread=1.96 * sqrt(density / 10.0),
        roughness=float(ticks.roughness[calm]),
        rough_since=_rough_since(ticks, at_s, onset, said_s, fault_open=opened.change != "noted"),
        crossing=_crossing(ticks, at, opened),
        held_back_s=_held_back(ticks, at_s, onset, at, said_s),
    )


def ticks_until(ticks: Ticks, opened: Event) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which ticks had been judged when the alert was said."""
    at = opened.at
    found: np.ndarray[tuple[int], np.dtype[np.bool_]] = (ticks.segment < at.segment) | (
        (ticks.segment == at.segment) & (ticks.said_us <= at.t_us)
    )
    return found


def verdict(answer: PressureAnswer, expected: tuple[float, float]) -> Verdict:
    """What the answer fits, within its 95 % interval."""
    least, largest = expected
    sign = 1.0 if largest >= 0.0 else -1.0
    moved, doubt = sign * answer.moved, _FITS_SD * answer.sd
    stayed = abs(moved) <= doubt
    answered = sign * least - doubt <= moved <= sign * largest + doubt
    if stayed and answered:
        return "both"
    return "stayed" if stayed else "answered" if answered else "neither"


def _told(opened: Event) -> PressureAnswer | None:
    """As the monitor saw it in the samples around the onset, when it weighed the classes."""
    details = opened.details
    if "pressure_moved_log" not in details:
        return None
    return PressureAnswer(details["pressure_moved_log"], details["pressure_moved_sd"])


def _answer(ticks: Ticks, onset: int, at: int) -> PressureAnswer | None:
    """From the ticks, for an event that does not say."""
    supply = SupplyPoint()
    pressures = ticks.log_pressure[: at + 1].tolist()
    joined = joined_to_before(ticks)[: at + 1].tolist()
    for pressure, follows in zip(pressures, joined, strict=True):
        if not follows:
            supply.restart()
        supply.step(pressure)
    return supply.answer(max(2, at - onset + 1))


def joined_to_before(ticks: Ticks) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which ticks follow the one before without a break."""
    found = np.zeros(len(ticks), dtype=np.bool_)
    apart_s = np.diff(ticks.t_us) / 1e6
    found[1:] = (np.diff(ticks.segment) == 0) & (apart_s < ticks.seconds[1:] + _JOINED_S)
    return found


def _reference(
    ticks: Ticks, onset: int, calm: int, rig: Rig, healthy: HealthyBoom | None
) -> Reference:
    level = float(ticks.level[calm])
    calibrated = False
    if healthy is not None:
        density = rig.work.carrier_relative_density
        held = healthy.log_conductance + carrier_log_shift(density)
        calibrated = abs(float(ticks.level[0]) - held) < 1e-9
    # Another mix begins a new level: what was learnt before it does not count.
    jumps = np.flatnonzero(np.abs(np.diff(ticks.level[:onset])) > _NEW_LEVEL)
    begin = int(jumps[-1]) + 1 if len(jumps) else 0
    free = np.isnan(ticks.fault_level[begin:onset])
    settled = min(ARM_S + float(ticks.seconds[begin:onset][free].sum()), TRACK_S)
    before = ticks.log_pressure[_before(onset)]
    pressures = before if len(before) else ticks.log_pressure[calm : calm + 1]
    pressure = exp(float(pressures.mean()))
    law = law_of(healthy)
    flow = exp(level) * law.root(pressure)
    return Reference(
        calibrated=calibrated,
        settled_s=settled,
        flow_m3_s=flow,
        pressure_pa=pressure,
        of_new=flow / (rig.nominal_conductance * sqrt(pressure)),
        exponent=law.exponent,
    )


def _rough_since(
    ticks: Ticks, at_s: Floats, onset: int, said_s: float, *, fault_open: bool
) -> float | None:
    """How wild the flow was since the onset, up to half a minute after it was said."""
    joined = joined_to_before(ticks)
    news = np.full(len(ticks), np.nan)
    level = np.nan_to_num(ticks.fault_level)
    news[1:] = ticks.residual[1:] - DECAY * ticks.residual[:-1] - (1.0 - DECAY) * level[1:]
    news[~joined] = np.nan
    before = news[_before(onset)]
    # Up to half a minute after it was said, and nothing of what came after it cleared. A mix is
    # taken as healthy when it is noted: its level is known from there on only.
    use = at_s <= said_s + _SINCE_S
    use &= np.isfinite(ticks.fault_level) if fault_open else at_s > said_s
    use[: onset + _STILL_MOVING] = False
    since = news[use]
    before, since = before[np.isfinite(before)], since[np.isfinite(since)]
    if len(before) < _LEAST_TICKS or len(since) < _LEAST_TICKS:
        return None
    usual = _scatter(before)
    return (_scatter(since) / usual) ** 2 if usual > 0.0 else None


def _before(onset: int) -> slice:
    return slice(max(0, onset - _REFERENCE), onset)


def _scatter(values: Floats) -> float:
    """Median distance from the median: a single step does not move it."""
    return float(np.median(np.abs(values - np.median(values))))


def _held_back(ticks: Ticks, at_s: Floats, onset: int, at: int, said_s: float) -> float:
    enough = np.flatnonzero(ticks.nats[onset : at + 1] > ticks.threshold[onset : at + 1])
    return max(0.0, said_s - float(at_s[onset + enough[0]])) if len(enough) else 0.0


def _crossing(ticks: Ticks, at: int, opened: Event) -> Crossing | None:
    """The last test seen before the crossing that looks for the same direction.

    In the tick of the crossing itself the fault is open already, and its tests have ended.
    """
    shift, nats = opened.details.get("shift_log"), opened.details.get("evidence_nats", 0.0)
    if shift is None:
        return None
    for i in range(at, max(at - 8, -1), -1):
        if np.isfinite(ticks.shift[i]) and ticks.shift[i] * shift > 0.0:
            return Crossing(float(ticks.shift[i]), float(ticks.threshold[i]), nats)
    return None
