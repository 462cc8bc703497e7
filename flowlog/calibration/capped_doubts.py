"""What speaks against a capped-tip check: refused outright, or remarked upon."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from flowlog.calibration.capped_fit import Difference
from flowlog.calibration.capped_runs import Seconds
from flowlog.calibration.faults import CalibrationError, Remark, percent
from flowlog.calibration.uncertainty import Budget

MOST_MORE: Final = 8
"""Sprayings that a person could be asked for beyond the first three."""
_CLEAR: Final = 4.0
"""The fall must be so many times its own uncertainty."""
_TURNED: Final = 4.0
"""A step of the pressure so many standard deviations large is no wander any more."""
_TURNED_AT_LEAST: Final = 0.06
_MOST_SHARE: Final = 2.0
"""A pump that delivers the same flow at any pressure, without a bypass: P goes with 1 / G^2."""
_LIKE_ONE: Final = 2.5
"""Tips: more than that is something else than one capped tip."""
_AWAY: Final = 0.15
"""Of the working pressure."""


def refuse(
    found: Sequence[Seconds], which: Sequence[bool], tips: int, fall: Difference, rise: Difference
) -> None:
    """CalibrationError where the sprayings show something else than one capped tip."""
    if -fall.value < _CLEAR * fall.noise_u:
        raise CalibrationError(
            f"capped tip: the flow fell by {percent(-math.expm1(fall.value))} and that is not "
            "clear of its noise (spray longer, look for air)"
        )
    missing = -tips * math.expm1(fall.value)
    if missing > _LIKE_ONE:
        raise CalibrationError(
            f"capped tip: {missing:.1f} tips are missing (cap one tip only; does the rig file's "
            f"number of tips, {tips}, hold?)"
        )
    for kind in (False, True):
        levels = [one.log_pressure for one, own in zip(found, which, strict=True) if own is kind]
        moved = max(levels) - min(levels)
        if rise.worst > _TURNED and moved > _TURNED_AT_LEAST:
            raise CalibrationError(
                f"capped tip: the pressure differs by {percent(math.expm1(moved), 0)} between "
                f"sprayings {'with the capped tip' if kind else 'with all tips'} (was the "
                "regulator or the engine's speed changed? leave both alone and begin again)"
            )


def refuse_answer(answer: Budget, rise: Difference) -> None:
    """CalibrationError for an answer that says nothing of the supply."""
    low, high = answer.interval
    moved = percent(abs(math.expm1(rise.value)))
    if high < 0.0:
        raise CalibrationError(
            f"capped tip: the pressure fell by {moved} with the capped tip, where it should rise "
            "(was the regulator turned, or does a pressure switch turn the pump off and on? with "
            "a switch at work no answer can be learnt)"
        )
    if low > _MOST_SHARE:
        raise CalibrationError(
            f"capped tip: the pressure rose by {moved} with the capped tip, more than any pump "
            "makes it by itself (was the regulator turned? leave it alone and begin again)"
        )


def remarks(
    blocked: Budget, answer: Budget, tips: int, more: int, pressure_pa: float,
    working_pa: float | None,
) -> tuple[Remark, ...]:  # fmt: skip
    """What to tell the person beside the result.

    Args:
        blocked: tips that are missing.
        answer: the share.
        tips: of the boom.
        more: see `CappedResult.more`.
        pressure_pa: with all tips.
        working_pa: at which the rig works, if that is known.
    """
    told = []
    low, high = blocked.interval
    if not low <= 1.0 <= high:
        why = (
            "the cap leaks, or that tip passes less than the others"
            if high < 1.0
            else "that tip passes more than the others, or a second one was shut"
        )
        told.append(
            Remark(
                "size",
                f"{blocked.value:.2f} ({low:.2f} to {high:.2f}) of a tip is missing, and "
                f"one was capped: {why}; or the boom has not {tips} tips",
            )
        )
    if more:
        how_many = (
            f"{more} more sprayings, capped and with all tips in turn, would do"
            if more > 0
            else f"not even {MOST_MORE} more sprayings would do: the pressure wanders too much"
        )
        told.append(
            Remark(
                "target",
                f"the answer is known to +-{answer.expanded:.2f} only (95 %): {how_many}",
            )
        )
    if working_pa is not None and abs(pressure_pa / working_pa - 1.0) > _AWAY:
        told.append(
            Remark(
                "pressure",
                f"the check was {percent(abs(pressure_pa / working_pa - 1.0), 0)} "
                f"{'above' if pressure_pa > working_pa else 'below'} the working pressure, and a "
                "supply answers otherwise there: set the working pressure first",
            )
        )
    return tuple(told)
