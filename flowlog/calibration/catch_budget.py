"""How sure a catch is: what each tip's reading adds, and what all catches have in common."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flowlog.calibration.course import CourseResult
from flowlog.calibration.uncertainty import (
    Budget,
    Component,
    budget,
    power,
    within,
)
from flowlog.physics.rates import application_rate_m3_m2

if TYPE_CHECKING:
    from flowlog.calibration.catch import Caught

FL_OZ_M3 = 0.003785411784 / 128


@dataclass(frozen=True, slots=True)
class CatchErrors:
    """Bounds (+-) of what goes wrong at random and in common. Common practice, no source."""

    reading_m3: float = 0.25 * FL_OZ_M3
    """Reading one jug, each catch anew."""
    jug_share: float = 0.02
    """The jug's scale: the same in every catch, and so not averaged."""
    timing_s: float = 0.2
    """Starting and stopping one catch, each anew."""
    width_share: float = 0.01
    pressure_pa: float = 6894.757
    """How far the pressure while driving may be from that while catching."""
    tip_share: float = 0.03
    """Standard deviation from tip to tip for tips not caught, where the caught ones don't tell."""

    def own_u_m3_s(self, one: Caught) -> float:
        """Standard uncertainty of one catch's flow from reading and timing."""
        flow = one.volume_m3 / one.seconds
        return math.hypot(
            within(self.reading_m3) / one.seconds, within(self.timing_s) * flow / one.seconds
        )


def total_budget(
    total: float,
    mean: float,
    kept: Mapping[int, Sequence[Caught]],
    missing: int,
    scatter: float | None,
    errors: CatchErrors,
) -> Budget:
    """Budget of the boom's flow, m3/s."""
    # Tips that were not caught stand at the mean of the others and repeat their errors.
    times = (len(kept) + missing) / len(kept)
    catches = [one for those in kept.values() for one in those]
    weights = {tip: times / len(those) for tip, those in kept.items()}
    reading = math.hypot(*(weights[o.tip] * within(errors.reading_m3) / o.seconds for o in catches))
    timing = math.hypot(
        *(weights[o.tip] * within(errors.timing_s) * o.volume_m3 / o.seconds**2 for o in catches)
    )
    count = len(catches)
    volume = math.fsum(one.volume_m3 for one in catches) / count
    seconds = math.fsum(one.seconds for one in catches) / count
    parts = [
        Component(
            f"reading the jug, {count} times", volume, within(errors.reading_m3), reading,
            kind="volume",
        ),
        power(
            "jug's scale (common)", 1.0, within(errors.jug_share), total, kind="share", common=True,
            bound=True,
        ),
        Component(
            f"timing the catch, {count} times", seconds, within(errors.timing_s), timing,
            kind="time",
        ),
    ]  # fmt: skip
    if missing:
        few = scatter is None or len(kept) < 3
        deviation = errors.tip_share * mean if few or scatter is None else scatter
        # The missing tips' sum against the mean of those caught.
        spread = deviation * math.sqrt(missing + missing**2 / len(kept))
        dof = math.inf if few else len(kept) - 1.0
        parts.append(
            Component(f"{missing} tips not caught", mean, deviation, spread, dof, kind="flow")
        )
    return budget("boom flow", total, "flow", parts)


def rate_budget(
    total: Budget, course: CourseResult, pressure_pa: float | None, errors: CatchErrors
) -> Budget:
    """Budget of the rate, m3/m2: the catch's, the course's, width and pressure.

    The model is that of the hand method: the tips' sum * (time over the course / time of the
    catch) / (length * width).
    """
    rate = application_rate_m3_m2(total.value, course.speed_m_s, course.width_m)
    parts = []
    for source, sign in ((total, 1.0), (course.speed, -1.0)):
        for part in source.components:
            amount = sign * rate * part.contribution / source.value
            parts.append(dataclasses.replace(part, contribution=amount))
    parts.append(
        power(
            "effective width", course.width_m, within(errors.width_share) * course.width_m, rate,
            -1.0, kind="length", common=True, bound=True,
        )
    )  # fmt: skip
    if pressure_pa is not None and errors.pressure_pa > 0.0:
        parts.append(
            power(
                "pressure parked and moving", pressure_pa, within(errors.pressure_pa), rate, 0.5,
                kind="pressure", bound=True,
            )
        )  # fmt: skip
    return budget("rate", rate, "rate", parts)
