"""Areas of stops from what a tape reads: rectangle, circle, triangle."""

from __future__ import annotations

import math


def rectangle_m2(length_m: float, width_m: float) -> float:
    return length_m * width_m


def circle_m2(diameter_m: float) -> float:
    """From the diameter, which a tape across the middle reads."""
    return math.pi / 4.0 * diameter_m**2


def triangle_m2(base_m: float, height_m: float) -> float:
    """From the base and the height that stands square on it."""
    return base_m * height_m / 2.0
