"""A run cut up: seconds, where each pressure was held, and how long the boom took to settle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from flowlog.calibration.baseline_noise import Floats, Steps

_OPEN: Final = 0.3
"""Of the median flow of the seconds with flow."""
_WAIT_S: Final = 3
"""After opening and after a change of pressure."""
_MOVED: Final = 0.07
_MOVED_S: Final = 3
_SAME: Final = 0.06
_SHORTEST_S: Final = 10
_SETTLED: Final = 0.03
_STAYS_S: Final = 1.0
_SMOOTH_S: Final = 0.5


def in_seconds(
    flow_m3_s: Floats, pressure_pa: Floats, step: Steps, tick_s: float
) -> tuple[Floats, Floats, Steps, float]:
    """Ticks shorter than a second joined to means of about one, within each step.

    A tick of a slow meter holds a pulse or two: its logarithm is biased or does not exist. The
    rest of a step that fills no second is left out. Gives flow, pressure, step, tick length.
    """
    join = max(round(1.0 / tick_s), 1)
    flows, pressures, numbers = [], [], []
    for number in np.unique(step[step >= 0]).tolist():
        here = step == number
        count = int(np.count_nonzero(here)) // join
        flows.append(flow_m3_s[here][: count * join].reshape(count, join).mean(axis=1))
        pressures.append(pressure_pa[here][: count * join].reshape(count, join).mean(axis=1))
        numbers.append(np.full(count, number, np.int64))
    if not flows:
        empty = np.empty(0, np.float64)
        return empty, empty, np.empty(0, np.int64), join * tick_s
    return (
        np.concatenate(flows), np.concatenate(pressures), np.concatenate(numbers), join * tick_s
    )  # fmt: skip


def steps_of(flow_m3_s: Floats, pressure_pa: Floats, tick_s: float) -> Steps:
    """Which pressure each tick belongs to, by itself: 0 for the lowest, -1 for none.

    A pressure counts when it was held for ten seconds with the boom open; the first seconds
    after opening and around a change are left out. Pressures within 6 % are one.

    Args:
        flow_m3_s: one value a tick, shape (n,).
        pressure_pa: the same.
        tick_s: length of a tick.
    """
    join = max(round(1.0 / tick_s), 1)
    count = len(flow_m3_s) // join
    result: Steps = np.full(len(flow_m3_s), -1, np.int64)
    if count == 0:
        return result
    flow = flow_m3_s[: count * join].reshape(count, join).mean(axis=1)
    level = np.log(np.maximum(pressure_pa[: count * join].reshape(count, join).mean(axis=1), 1.0))
    running = flow[flow > 0.0]
    if len(running) == 0:
        return result
    opened = flow > _OPEN * float(np.median(running))
    runs = [run for run in _held(opened, level) if run[1] - run[0] >= _SHORTEST_S]
    runs.sort(key=lambda run: float(np.median(level[run[0] : run[1]])))
    number, last = -1, -np.inf
    for begin, end in runs:
        middle = float(np.median(level[begin:end]))
        if middle - last > _SAME:
            number, last = number + 1, middle
        result[begin * join : end * join] = number
    return result


def _held(
    opened: np.ndarray[tuple[int], np.dtype[np.bool_]], level: Floats
) -> list[tuple[int, int]]:
    """Seconds [begin, end) in which the boom was open and the pressure held."""
    runs = []
    begin: int | None = None
    moved = 0
    for second in range(len(level)):
        if not opened[second]:
            if begin is not None and second - 1 > begin:
                runs.append((begin, second - 1 - moved))
            begin, moved = None, 0
            continue
        if begin is None:
            begin = second + _WAIT_S
        if second <= begin:
            continue
        away = abs(level[second] - float(np.median(level[begin:second]))) > _MOVED
        moved = moved + 1 if away else 0
        if moved >= _MOVED_S:
            runs.append((begin, second - moved + 1))
            begin, moved = second + 1, 0
    if begin is not None and len(level) > begin:
        runs.append((begin, len(level) - moved))
    return runs


def openings_of(flow_m3_s: Floats) -> list[int]:
    """Ticks at which the boom opened: the first with flow after one without."""
    running = flow_m3_s[flow_m3_s > 0.0]
    if len(running) == 0:
        return []
    on = flow_m3_s > 0.05 * float(np.median(running))
    return [int(tick) + 1 for tick in np.flatnonzero(on[1:] & ~on[:-1])]


def settle_time_s(
    flow_m3_s: Floats,
    pressure_pa: Floats,
    tick_s: float,
    openings: Sequence[int] | None = None,
    exponent: float = 0.5,
) -> float | None:
    """From opening until flow over pressure stays at its level, s; the longest of the openings.

    Its level is the median from 5 to 15 s after opening; settled is a mean of half a second
    within 3 % of it that stays for a second. None if no opening lasted ten seconds.
    """
    smooth = max(round(_SMOOTH_S / tick_s), 1)
    stays = max(round(_STAYS_S / tick_s), 1)
    opened = openings_of(flow_m3_s) if openings is None else list(openings)
    found = []
    for number, begin in enumerate(opened):
        end = opened[number + 1] if number + 1 < len(opened) else len(flow_m3_s)
        shut = np.flatnonzero(flow_m3_s[begin + 1 : end] <= 0.0)
        seconds_10 = round(10.0 / tick_s)
        if len(shut) and shut[0] + 1 >= seconds_10:
            end = begin + 1 + int(shut[0])
        if end - begin < seconds_10:
            continue
        root = np.maximum(pressure_pa[begin:end], 1.0) ** exponent
        window = np.ones(smooth)
        over = np.convolve(flow_m3_s[begin:end], window, "valid") / np.convolve(
            root, window, "valid"
        )
        level = float(np.median(over[round(5.0 / tick_s) : round(15.0 / tick_s)]))
        good = np.abs(over / level - 1.0) <= _SETTLED
        held = np.convolve(good.astype(np.float64), np.ones(stays), "valid") >= stays - 0.5
        if np.any(held):
            found.append((int(np.argmax(held)) + 0.5 * smooth) * tick_s)
    return max(found, default=None)
