"""Which shifts of the boom's conductance are looked for."""

from __future__ import annotations

from math import log
from typing import Final

from flowlog.physics.tips import blocked_tip_log_shift
from flowlog.rig.model import Rig

_SMALLEST_LEAK: Final = log(1.05)


def shifts(rig: Rig) -> list[float]:
    """Blocked parts of tips (negative), and a boom that passes too much, in log conductance."""
    tips = rig.boom.tips
    sizes = sorted({rig.thresholds.tip_share, 0.5, 1.0, 2.0})
    sizes = [size for size in sizes if rig.thresholds.tip_share <= size < tips - 0.5]
    return [
        *(blocked_tip_log_shift(tips, size) for size in sizes),
        _SMALLEST_LEAK,
        log(1.1),
        log(1.5),
        log(2.0),
    ]


def smallest_shift(tips: int, tip_share: float) -> float:
    """The smallest blocked part of a tip that is looked for, in log conductance; positive."""
    return -blocked_tip_log_shift(tips, min(tip_share, 0.9 * tips)) if tips > 0 else -log(0.5)


def least_shift(rig: Rig, level: float) -> float:
    """The smallest shift to the side of `level` that is looked for; positive."""
    smallest = smallest_shift(rig.boom.tips, rig.thresholds.tip_share)
    return smallest if level < 0.0 else min(smallest, _SMALLEST_LEAK)
