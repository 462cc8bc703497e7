"""Rate, speed, width, course and tank: the arithmetic of broadcast spraying.

All of it follows from one definition: rate = volume / area, and a boom of effective width W at
speed v that lets out the flow Q covers the area v * W in a second, so rate = Q / (v * W). The
trade's constants (5940, 495, 136.36, 600 ...) are only the units of that formula, which is why
none of them appears here; `tests/against` checks that they all come out.

Units: m, m2, m3, s, m/s, m3/s and m3/m2 (1 m3/m2 is 10^7 L/ha). Anything is a float or an array.
A quotient with a zero divisor (a rate at standstill) is nan.
"""

from __future__ import annotations

from flowlog.physics.elementwise import Quantity, ratio


def effective_width_m(spacing_m: Quantity, tips: Quantity | float) -> Quantity:
    """Width that the boom sprays in one pass, m: tip spacing times number of tips.

    Not the length of the boom: the outer half-patterns overlap with the neighbouring pass.
    """
    return spacing_m * tips


def outer_tip_distance_m(spacing_m: Quantity, tips: Quantity | float) -> Quantity:
    """Distance between the two outer tips, m: what a tape along the boom reads."""
    return spacing_m * (tips - 1)


def is_outer_tip_distance(
    width_m: float, spacing_m: float, tips: int, tolerance: float = 0.25
) -> bool:
    """Whether a stated width is the boom's length between the outer tips, taken for the width.

    True when it lies within `tolerance` spacings of (tips - 1) * spacing. That mistake makes
    every computed rate tips / (tips - 1) too high: a third with four tips.
    """
    return tips > 1 and (
        abs(width_m - outer_tip_distance_m(spacing_m, float(tips))) <= tolerance * spacing_m
    )


def course_length_m(area_m2: Quantity, width_m: Quantity | float) -> Quantity:
    """Length of the course that covers an area at a width, m."""
    return ratio(area_m2, width_m)


def application_rate_m3_m2(
    flow_m3_s: Quantity, speed_m_s: Quantity | float, width_m: Quantity | float
) -> Quantity:
    """Rate of a flow over a width at a speed, m3/m2; nan at standstill.

    The whole boom's flow goes with the effective width, one tip's flow with the spacing.
    """
    return ratio(flow_m3_s, speed_m_s * width_m)


def flow_for_rate_m3_s(
    rate_m3_m2: Quantity, speed_m_s: Quantity | float, width_m: Quantity | float
) -> Quantity:
    """Flow over a width that gives the rate at the speed, m3/s."""
    return rate_m3_m2 * speed_m_s * width_m


def speed_for_rate_m_s(
    rate_m3_m2: Quantity | float, flow_m3_s: Quantity, width_m: Quantity | float
) -> Quantity:
    """Speed at which a flow over a width gives the rate, m/s."""
    return ratio(flow_m3_s, rate_m3_m2 * width_m)


def speed_from_course_m_s(length_m: Quantity | float, seconds: Quantity) -> Quantity:
    """Speed over a course of known length, m/s.

    Of several runs average the seconds, not the speeds: the rate is proportional to the time.
    """
    return ratio(length_m, seconds)


def course_seconds(length_m: Quantity | float, speed_m_s: Quantity) -> Quantity:
    """Time over a course at a speed, s."""
    return ratio(length_m, speed_m_s)


def flow_from_catch_m3_s(caught_m3: Quantity, catch_s: Quantity | float) -> Quantity:
    """Flow of what was caught in a time, m3/s."""
    return ratio(caught_m3, catch_s)


def rate_from_catch_m3_m2(
    caught_m3: Quantity,
    catch_s: Quantity | float,
    course_s: Quantity | float,
    length_m: Quantity | float,
    width_m: Quantity | float,
) -> Quantity:
    """Rate from a catch at rest and a timed course, m3/m2.

    `caught_m3` is what all the tips that serve `width_m` gave in `catch_s`: the whole boom with
    its effective width, or one tip with the spacing (or its band). `course_s` is the time that
    the machine takes for `length_m`. With equal times only volume and area are left.
    """
    sprayed_m3 = caught_m3 * ratio(course_s, catch_s)
    return ratio(sprayed_m3, length_m * width_m)


def rate_from_volume_m3_m2(volume_m3: Quantity, area_m2: Quantity | float) -> Quantity:
    """Rate of a volume that was let out over an area, m3/m2."""
    return ratio(volume_m3, area_m2)


def volume_for_area_m3(rate_m3_m2: Quantity | float, area_m2: Quantity) -> Quantity:
    """Volume that an area takes at a rate, m3."""
    return rate_m3_m2 * area_m2


def area_per_tank_m2(tank_m3: Quantity | float, rate_m3_m2: Quantity) -> Quantity:
    """Area that a tank covers at a rate, m2."""
    return ratio(tank_m3, rate_m3_m2)


def time_per_tank_s(tank_m3: Quantity | float, flow_m3_s: Quantity) -> Quantity:
    """Time of open boom in which a tank runs out at a flow, s."""
    return ratio(tank_m3, flow_m3_s)
