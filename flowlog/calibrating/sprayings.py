"""The sprayings of a capped-tip check, read from the board or out of a recording."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np

from flowlog.calibrating.feed import Feed, recording_feed
from flowlog.calibrating.measure import TICK_S, Look, Looks, MeasureError, Pressed, Progress
from flowlog.calibration.capped_runs import END_S, WAIT_S, Sprayed, cut
from flowlog.rig.model import Rig
from flowlog.units import Units, show

SPRAY_S: Final = 30.0
"""Settled; with what opening and shutting take, a little more is sprayed."""
_RESTARTED_S: Final = 60.0
"""A board that restarted while the boom was shut does not tell how long it was off; somebody went
to a tip and came back."""
_SHUT_S: Final = 2.0


def sprayings_of(path: Path, rig: Rig) -> list[Sprayed]:
    """All sprayings of a recording. FlowlogError if it cannot be read or has none."""
    feed = recording_feed(path)
    try:
        return sprayings_from(feed, rig)
    finally:
        feed.close()


def sprayings_from(feed: Feed, rig: Rig) -> list[Sprayed]:
    """All sprayings until a feed ends.

    The board may restart in the pauses: with the engine off it often has no power.

    Raises:
        FlowlogError: the board restarted while spraying, or there is no spraying.
    """
    times: list[float] = []
    flow: list[float] = []
    pressure: list[float] = []
    later_s, before = 0.0, None
    looks = Looks(rig)
    while not feed.ended:
        for look in looks.feed(feed.take()):
            if before is not None and look.segment != before.segment:
                if before.flow_m3_s > 0.0 and look.flow_m3_s > 0.0:
                    raise MeasureError("the board restarted while spraying (do it again)")
                later_s = times[-1] + _RESTARTED_S - look.t_s
                times.append(later_s + look.t_s - TICK_S)
                flow.append(0.0)  # the pause that the board did not see
                pressure.append(0.0)
            before = look
            times.append(later_s + look.t_s)
            flow.append(look.flow_m3_s)
            pressure.append(look.pressure_pa or 0.0)
    if not times:
        raise MeasureError(f"{feed.name}: nothing in it")
    return cut(np.array(flow), np.array(pressure), TICK_S, np.array(times))


def spray_once(
    feed: Feed, rig: Rig, units: Units, progress: Progress, pressed: Pressed,
    now_s: Callable[[], float],
) -> dict[str, Any]:  # fmt: skip
    """One spraying, from the opened boom until it is shut again or long enough.

    Gives {"at_s", "flow", "pressure"} with the settled ticks.

    Args:
        now_s: seconds by a clock that goes on while the board has no power.

    Raises:
        MeasureError: the boom was open before, the board restarted, or it was too short.
        FlowlogError: nothing comes from the board.
    """
    feed.fresh()
    looks = Looks(rig)
    flow: list[float] = []
    pressure: list[float] = []
    before: Look | None = None
    shut_s = 0.0
    while True:
        ended = feed.ended
        for look in looks.feed(feed.take()):
            if before is None and look.flow_m3_s > 0.0:
                raise MeasureError(
                    "water flows already (shut the boom first; pressure off before a tip is "
                    "capped or uncapped)"
                )
            if before is not None and look.segment != before.segment:
                raise MeasureError("the board restarted meanwhile (spray once more)")
            before = look
            if look.flow_m3_s > 0.0 or flow:
                flow.append(look.flow_m3_s)
                pressure.append(look.pressure_pa or 0.0)
            shut_s = 0.0 if look.flow_m3_s > 0.0 else shut_s + TICK_S
            left = SPRAY_S - (len(flow) * TICK_S - WAIT_S - END_S)
            if flow and (left <= 0.0 or shut_s >= _SHUT_S):
                return _settled(flow, pressure, now_s())
            at = show(look.pressure_pa or 0.0, "pressure", units)
            through = show(look.flow_m3_s, "flow", units)
            progress(f"{at:>9}  {through:>12}   " + (
                f"{min(left, SPRAY_S):.0f} s more" if flow else "open the boom"
            ))  # fmt: skip
        if (pressed() and flow) or ended:
            return _settled(flow, pressure, now_s())


def _settled(flow: list[float], pressure: list[float], end_s: float) -> dict[str, Any]:
    # A tick without flow on either side: what was read is one whole spraying.
    whole = cut(np.array([0.0, *flow, 0.0]), np.array([0.0, *pressure, 0.0]), TICK_S)
    if not whole:
        raise MeasureError("that was too short (open the boom for half a minute)")
    if len(whole) > 1:
        raise MeasureError("the flow stopped in between (spray half a minute in one piece)")
    (one,) = whole
    return {
        "at_s": round(end_s - len(flow) * TICK_S + one.at_s, 1),
        "flow": [float(f"{each:.7g}") for each in one.flow_m3_s],
        "pressure": [round(float(each), 1) for each in one.pressure_pa],
    }


def sprayed_of(found: dict[str, Any]) -> Sprayed:
    """What `spray_once` gave, also out of a draft."""
    return Sprayed(float(found["at_s"]), np.array(found["flow"]), np.array(found["pressure"]))
