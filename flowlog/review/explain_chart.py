"""What the chart of an alert shows: panels of points, levels and moments in the rig's units.

Plain data; `explain_text` draws it with letters and `explain_svg` with lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import isfinite, log
from typing import Final, Literal

import numpy as np

from flowlog.review import words
from flowlog.review.explain import Explanation
from flowlog.review.explain_replay import Floats, percent_of
from flowlog.units import Kind, display_unit, number_in

Style = Literal["before", "fault", "limit"]

_TAIL: Final = 0.01
"""This share of the points at either end does not set the scale: a burst of air would flatten all
the rest."""
_LEAST_PERCENT: Final = 4.0
_SAME_PERCENT: Final = 0.5
"""Levels that are nearer to one another are drawn as one."""
UNDER: Final = (
    "seconds from the onset; nothing is drawn where nothing was judged (boom shut, settling)"
)
UNDER_READINGS: Final = "seconds from the onset"


@dataclass(frozen=True, slots=True)
class Level:
    """A level that holds from one moment to another."""

    value: float
    begin_s: float
    end_s: float
    label: str
    style: Style


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity along time, in display units."""

    name: str
    title: str
    at_s: Floats
    """Relative to the onset, ascending."""
    values: Floats
    low: float
    """Of the scale; points beyond it are drawn at its edge."""
    high: float
    levels: tuple[Level, ...] = field(default=())
    decimals: int = 0


@dataclass(frozen=True, slots=True)
class Picture:
    """All panels, with the moments that go through them."""

    begin_s: float
    end_s: float
    moments: tuple[tuple[float, str], ...]
    """Seconds relative to the onset, and what happened then; the onset is the first."""
    panels: tuple[Panel, ...]
    under: str
    """What stands under the time axis."""


def picture_of(told: Explanation) -> Picture:
    """The chart of an alert."""
    panels: list[Panel] = []
    if told.kind != "other" and told.signs is not None:
        panels.append(_boom(told))
        if told.kind == "tests":
            panels.append(_evidence(told))
    else:
        panels.append(_second(told, "flow"))
    # Where the boom was shut, and at the beginning of a route, only the readings tell the pressure.
    steady = told.kind == "tests" or (told.kind == "level" and told.opened.code != "air_drawn")
    judged = steady and told.signs is not None
    panels.append(_pressure(told) if judged else _second(told, "pressure"))
    moments = [(0.0, "onset"), (told.said_s, "said")]
    if told.said_s < 0.05:
        moments = [(0.0, "onset, said")]
    if told.cleared_s is not None and told.cleared_s <= told.end_s:
        moments.append((told.cleared_s, "cleared"))
    under = UNDER if told.kind == "tests" and told.signs else UNDER_READINGS
    return Picture(told.begin_s, told.end_s, tuple(moments), tuple(panels), under)


def _boom(told: Explanation) -> Panel:
    at, residual = _residual(told)
    values = 100.0 * np.expm1(residual)
    levels = [Level(0.0, told.begin_s, told.end_s, "healthy", "before")]
    levels += _fault_levels(told)
    low, high = _scale(values, levels, _LEAST_PERCENT)
    return Panel(
        "boom",
        "What the boom passes at this pressure, % off its healthy level",
        at,
        values,
        low,
        high,
        tuple(levels),
    )


def _residual(told: Explanation) -> tuple[Floats, Floats]:
    """Of ticks where they were judged, and of readings where they were not yet."""
    if told.kind == "tests" or told.signs is None:
        return told.tick_s, told.ticks.residual
    reference = told.signs.reference
    n = reference.exponent
    level = log(reference.flow_m3_s) - n * log(reference.pressure_pa)
    seconds = told.seconds
    use = seconds.settled & (seconds.flow_m3_s > 0.0) & (seconds.pressure_pa > 0.0)
    flow, pressure = seconds.flow_m3_s[use], seconds.pressure_pa[use]
    return seconds.at_s[use], np.log(flow) - n * np.log(pressure) - level


def _fault_levels(told: Explanation) -> list[Level]:
    """Where the fault was measured to lie, from each saying to the next."""
    found: list[Level] = []
    for i, (row, at) in enumerate(zip(told.said, told.changes_s, strict=True)):
        shift = row.event.details.get("shift_log")
        if shift is None or at > told.end_s:
            continue
        begin = 0.0 if i == 0 else at
        end = told.changes_s[i + 1] if i + 1 < len(told.said) else told.end_s
        if row.event.change == "noted":
            end = at  # from there on it counts as healthy
        value = percent_of(shift)
        if found and abs(value - found[-1].value) < _SAME_PERCENT:
            found[-1] = replace(found[-1], end_s=min(end, told.end_s))
            continue
        name = "measured" if row.event.change == "noted" else "then" if found else "fault"
        label = f"{name} {value:+.1f} %"
        found.append(Level(value, begin, min(end, told.end_s), label, "fault"))
    return found


def _evidence(told: Explanation) -> Panel:
    at = told.tick_s
    values = 100.0 * told.ticks.nats / told.ticks.threshold
    crossing = told.signs.crossing if told.signs is not None else None
    if crossing is not None and crossing.nats > 0.0:
        # In the tick that crossed, the fault was open already and the tests had ended.
        when = int(np.searchsorted(at, told.said_s - 1e-6))
        at = np.insert(at, when, told.said_s)
        values = np.insert(values, when, 100.0 * crossing.nats / crossing.threshold)
        same = np.flatnonzero(np.abs(at - told.said_s) < 1e-6)
        for other in same:
            values[other] = 100.0 * crossing.nats / crossing.threshold
    known = values[np.isfinite(values)]
    high = max(120.0, 1.08 * float(known.max()) if len(known) else 0.0)
    levels = (Level(100.0, told.begin_s, told.end_s, "needed", "limit"),)
    return Panel(
        "evidence",
        "Evidence of the strongest test, % of what is needed",
        at,
        values,
        0.0,
        min(high, 260.0),
        levels,
    )


def _pressure(told: Explanation) -> Panel:
    units = told.review.rig.units
    unit = display_unit("pressure", units)
    factor = number_in(1.0, "pressure", unit)
    values = factor * np.exp(told.ticks.log_pressure)
    levels = []
    if told.signs is not None:
        mean = factor * told.signs.reference.pressure_pa
        levels.append(Level(mean, told.begin_s, told.end_s, "mean before", "before"))
    low, high = _scale(values, levels, 0.05 * (levels[0].value if levels else 1.0))
    decimals = 0 if high - low >= 8 else 1 if high - low >= 0.8 else 2
    title = f"Pressure, {unit}"
    return Panel("pressure", title, told.tick_s, values, low, high, tuple(levels), decimals)


def _second(told: Explanation, kind: Kind) -> Panel:
    rig = told.review.rig
    unit = display_unit(kind, rig.units)
    factor = number_in(1.0, kind, unit)
    source = told.seconds.flow_m3_s if kind == "flow" else told.seconds.pressure_pa
    values = factor * source
    asked = (
        (rig.expected_flow_m3_s,)
        if kind == "flow"
        else (rig.boom.pressure_low_pa, rig.boom.pressure_high_pa)
    )
    labels = ("expected",) if kind == "flow" else ("tips: lowest", "tips: highest")
    levels = tuple(
        Level(factor * value, told.begin_s, told.end_s, label, "limit")
        for value, label in zip(asked, labels, strict=True)
    )
    top = max([float(v) for v in values[np.isfinite(values)]] + [one.value for one in levels])
    name = "Flow" if kind == "flow" else "Pressure"
    decimals = 0 if top >= 20 else 1 if top >= 2 else 2
    return Panel(
        kind, f"{name}, {unit}", told.seconds.at_s, values, 0.0, 1.1 * top, levels, decimals
    )


def _scale(values: Floats, levels: Sequence[Level], least: float) -> tuple[float, float]:
    known = values[np.isfinite(values)]
    ends = [one.value for one in levels]
    if len(known):
        ends += [float(np.quantile(known, _TAIL)), float(np.quantile(known, 1.0 - _TAIL))]
    if not ends:
        return -least, least
    middle, half = (min(ends) + max(ends)) / 2, (max(ends) - min(ends)) / 2
    half = max(1.12 * half, least)
    return middle - half, middle + half


def described(picture: Picture) -> str:
    """What is to be seen, for those who cannot see it."""
    said = [
        f"From {-picture.begin_s:.0f} s before the onset to {picture.end_s:.0f} s after it",
        ", ".join(f"{name} at {at:.1f} s" for at, name in picture.moments),
    ]
    for panel in picture.panels:
        known = panel.values[np.isfinite(panel.values)]
        if len(known):
            low, high = float(known.min()), float(known.max())
            d = panel.decimals
            said.append(f"{panel.title}: from {low:.{d}f} to {high:.{d}f}")
        else:
            said.append(f"{panel.title}: not measured")
        said += [
            f"{one.label} at {one.value:.{max(panel.decimals, 1)}f}"
            for one in panel.levels
            if isfinite(one.value)
        ]
    return words.clean(". ".join(said)) + "."
