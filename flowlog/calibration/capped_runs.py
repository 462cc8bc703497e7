"""The sprayings of a capped-tip check: cut out of a run, and which of them had the tip capped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from flowlog.calibration.baseline_noise import Floats
from flowlog.calibration.baseline_steps import in_seconds
from flowlog.calibration.faults import CalibrationError, percent

FEWEST_S: Final = 10.0
"""Settled spraying, below which a mean says too little (as for a pressure of the baseline)."""
WAIT_S: Final = 3.0
"""After opening: a boom fills and its pressure comes up in one to two seconds."""
END_S: Final = 1.0
"""Before the boom was seen shut: the valve turns, and the tick holds both."""
_OPEN: Final = 0.3
"""Of the median flow of the ticks with flow."""
_BURST_S: Final = 5.0
"""An opening this short is the pressure being let off, and no spraying."""
_COLLAPSED: Final = 0.5
"""Of the usual pressure."""
_STOPPING: Final = 0.1
"""Share of the seconds that may be without flow or pressure."""
_MOVED: Final = 0.10
"""Log pressure from one half of a spraying to the other: far above the noise of means of fifteen
seconds (1 %), far below what a turn of a regulator does."""


@dataclass(frozen=True, slots=True, eq=False)
class Sprayed:
    """Settled ticks of one spraying, shape (n,) each."""

    at_s: float
    """Middle of it, seconds since any moment that is the same for all sprayings."""
    flow_m3_s: Floats
    pressure_pa: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Seconds:
    """One spraying in seconds, as logarithms, shape (n,) each."""

    at_s: float
    second_s: float
    conductance: Floats
    """ln(Q / P^0.5)."""
    pressure: Floats
    """ln P."""

    @property
    def seconds(self) -> float:
        return len(self.pressure) * self.second_s

    @property
    def log_conductance(self) -> float:
        return float(np.mean(self.conductance))

    @property
    def log_pressure(self) -> float:
        return float(np.mean(self.pressure))


def cut(
    flow_m3_s: Floats, pressure_pa: Floats, tick_s: float, t_s: Floats | None = None
) -> list[Sprayed]:
    """The sprayings of a run, told apart by the pauses of the boom.

    The first seconds of each and its last one are left out, and so are openings that only let
    the pressure off.

    Args:
        flow_m3_s: one value a tick, shape (n,), the pauses too.
        pressure_pa: the same; 0 where the gauge gave none.
        tick_s: length of a tick.
        t_s: end of each tick; None where all follow one another.

    Raises:
        CalibrationError: no flow, no pressure, or a spraying that is too short.
    """
    flow, pressure = np.asarray(flow_m3_s, np.float64), np.asarray(pressure_pa, np.float64)
    if flow.shape != pressure.shape or flow.ndim != 1:
        raise ValueError("flow and pressure must be of one length")
    times = np.arange(1, len(flow) + 1) * tick_s if t_s is None else np.asarray(t_s, np.float64)
    running = flow > 0.0
    if not np.any(running):
        raise CalibrationError("capped tip: no flow (was the boom open?)")
    opened = flow > _OPEN * float(np.median(flow[running]))
    edges = np.diff(np.concatenate(([0], opened.astype(np.int64), [0])))
    stretches = list(
        zip(np.flatnonzero(edges > 0).tolist(), np.flatnonzero(edges < 0).tolist(), strict=True)
    )
    usual = float(np.median(pressure[opened]))
    if not usual > 0.0:
        raise CalibrationError("capped tip: no pressure (is the gauge connected?)")
    wait, rest = round(WAIT_S / tick_s), round(END_S / tick_s)
    found: list[Sprayed] = []
    for begin, end in stretches:
        long_s = (end - begin) * tick_s
        weak = float(np.median(pressure[begin:end])) < _COLLAPSED * usual
        settled = (end - begin - wait - (rest if end < len(flow) else 0)) * tick_s
        if long_s <= _BURST_S or (weak and settled < FEWEST_S):
            continue
        if settled < FEWEST_S:
            raise CalibrationError(
                f"spraying {len(found) + 1}: {max(settled, 0.0):.0f} s of settled spraying "
                f"(at least {FEWEST_S:.0f} s, better 30 s)"
            )
        part = slice(begin + wait, end - rest if end < len(flow) else end)
        at_s = 0.5 * float(times[part][0] + times[part][-1])
        found.append(Sprayed(at_s, flow[part], pressure[part]))
    return found


def seconds_of(sprayed: Sequence[Sprayed], tick_s: float) -> list[Seconds]:
    """Each spraying in seconds, those without flow or pressure left out.

    Raises:
        CalibrationError: too little of one, one in which the flow stops again and again, whose
            pressure collapsed, or in which it was changed.
    """
    found: list[Seconds] = []
    for number, one in enumerate(sprayed, 1):
        flow, pressure, _, second_s = in_seconds(
            one.flow_m3_s, one.pressure_pa, np.zeros(len(one.flow_m3_s), np.int64), tick_s
        )
        use = (flow > 0.0) & (pressure > 0.0)
        good = int(np.count_nonzero(use))
        if good * second_s < FEWEST_S:
            raise CalibrationError(
                f"spraying {number}: {good * second_s:.0f} s with flow and pressure "
                f"(at least {FEWEST_S:.0f} s, better 30 s)"
            )
        if good < (1.0 - _STOPPING) * len(flow):
            raise CalibrationError(
                f"spraying {number}: flow or pressure stop again and again (air, a loose wire?)"
            )
        level = np.log(pressure[use])
        found.append(Seconds(one.at_s, second_s, np.log(flow[use]) - 0.5 * level, level))
    usual = float(np.median([one.log_pressure for one in found])) if found else 0.0
    for number, each in enumerate(found, 1):
        half = len(each.pressure) // 2
        if each.log_pressure - usual < math.log(_COLLAPSED):
            raise CalibrationError(
                f"spraying {number}: the pressure collapsed to "
                f"{percent(math.exp(each.log_pressure - usual), 0)} of the others' "
                "(is there water in the tank, did the pump run?)"
            )
        moved = float(np.mean(each.pressure[half:]) - np.mean(each.pressure[:half]))
        if abs(moved) > _MOVED:
            raise CalibrationError(
                f"spraying {number}: the pressure moved by {percent(math.expm1(moved), 0)} "
                "meanwhile (leave the regulator alone from the first spraying to the last)"
            )
    return found


def which_capped(found: Sequence[Seconds], tips: int) -> list[bool]:
    """For each spraying whether a tip was capped.

    The two groups are those that differ most from one another and least within; they count if
    they are more than half a tip apart.

    Raises:
        CalibrationError: a boom of one tip.
    """
    if tips < 2:
        raise CalibrationError("capped tip: a boom of one tip has none to spare for it")
    levels = np.array([one.log_conductance for one in found])
    order = np.sort(levels)
    best, threshold = 0.0, -math.inf
    for below in range(1, len(order)):
        apart = float(np.mean(order[below:]) - np.mean(order[:below]))
        weight = below * (len(order) - below) * apart**2
        if apart > -0.5 * math.log1p(-1.0 / tips) and weight > best:
            best, threshold = weight, 0.5 * float(order[below - 1] + order[below])
    return [bool(level < threshold) for level in levels]


def need_a_b_a(capped: Sequence[bool], found: Sequence[Seconds], tips: int) -> None:
    """CalibrationError for what is no check: a kind missing, or none between two of the other."""
    how = "all tips, one capped, all tips again; the boom shut in between"
    if len(capped) < 2:
        raise CalibrationError(
            f"capped tip: {len(capped)} spraying{'' if len(capped) == 1 else 's'} "
            f"(three are wanted: {how})"
        )
    if not any(capped):
        levels = [one.log_conductance for one in found]
        fell = -math.expm1(min(levels) - max(levels)) * tips
        raise CalibrationError(
            f"capped tip: the flow did not fall in any of {len(capped)} sprayings (by {fell:.2f} "
            "of a tip at most; was the tip capped, does the cap leak?)"
        )
    if sum(one != next_one for one, next_one in pairwise(capped)) < 2:
        seen = ", ".join("one capped" if one else "all tips" for one in capped)
        raise CalibrationError(f"capped tip: the sprayings were {seen} (wanted: {how})")
