"""Round marks for axes: of values, and of time."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Final

from flowlog.review.words import utc

_STEPS_S: Final = (
    *(1, 2, 5, 10, 15, 30),
    *(60, 120, 300, 600, 900, 1800),
    *(3600, 7200, 10800, 21600, 43200),
)


def round_marks(low: float, high: float, most: int) -> list[float]:
    """Round numbers from `low` to `high`, at most `most` of them (at least 2)."""
    if not high > low:
        return [low]
    step = 10.0 ** math.floor(math.log10((high - low) / max(most, 2)))
    for factor in (1, 2, 5, 10, 20, 50):
        marks = _between(low, high, step * factor)
        if len(marks) <= max(most, 2):
            return marks
    return [low, high]


def time_marks(
    begin_s: float, end_s: float, begin_wall_us: int | None, most: int
) -> list[tuple[float, str]]:
    """Seconds of the time line with their texts: time of day, or since the beginning.

    Args:
        begin_wall_us: wall time of `begin_s`; None to count from the beginning of the route.
    """
    step = next((s for s in _STEPS_S if (end_s - begin_s) / s <= most), _STEPS_S[-1])
    began = utc(begin_wall_us)
    if began is None:
        return [(at, _elapsed(at, step)) for at in _between(begin_s, end_s, float(step))]
    local = began.astimezone()
    of_day = local.hour * 3600 + local.minute * 60 + local.second + local.microsecond / 1e6
    form = "%H:%M" if step >= 60 else "%H:%M:%S"
    marks = []
    for second in _between(of_day, of_day + end_s - begin_s, float(step)):
        moment = datetime.fromtimestamp(began.timestamp() + second - of_day, began.tzinfo)
        marks.append((begin_s + second - of_day, moment.astimezone().strftime(form)))
    return marks


def _elapsed(second: float, step: int) -> str:
    whole = round(second)
    text = f"+{whole // 3600}:{whole // 60 % 60:02d}"
    return text if step >= 60 else f"{text}:{whole % 60:02d}"


def _between(low: float, high: float, step: float) -> list[float]:
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [number * step for number in range(first, last + 1)]
