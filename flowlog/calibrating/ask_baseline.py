"""The baseline, asked: one water run in which three pressures are held."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np

from flowlog.calibrating.feed import Feed, recording_feed
from flowlog.calibrating.measure import TICK_S, WaterRun, water_run
from flowlog.calibrating.work import PARKED, WATER, Work
from flowlog.calibration.baseline import FEWEST_PRESSURES, BaselineResult, baseline
from flowlog.calibration.baseline_steps import steps_of
from flowlog.errors import FlowlogError
from flowlog.rig.model import Rig
from flowlog.units import Units, show

HOLD_S: Final = 60.0


def ask_baseline(work: Work) -> BaselineResult:
    """Lead through a water run, live or from a recording."""
    ask, rig, units = work.interview, work.rig, work.units
    ask.say("What the boom passes when all is well: all tips clean and checked first.")
    low = show(rig.boom.pressure_low_pa, "pressure", units)
    high = show(rig.boom.pressure_high_pa, "pressure", units)
    ask.say(f"Hold three pressures for a minute each: {low}, the middle, {high}; parked.")
    ask.say(WATER)
    ask.say(PARKED)
    feed = work.feed("baseline")
    if feed is None:
        name, path = work.ask_recording(
            "the water run", lambda path: baseline_of(run_of_recording(path, work.current(), units))
        )
        work.sources["baseline"] = name
        run = run_of_recording(path, work.current(), units)
        return baseline_of(run)
    found = ask.measure(
        "run",
        "Boom shut? Enter, then open it and hold the first pressure.",
        lambda: _live(work, feed),
        lambda got: f"{len(got['flow']) * TICK_S:.0f} s of water run",
    )
    return baseline_of(WaterRun(list(found["flow"]), list(found["pressure"])))


def baseline_of(run: WaterRun, relative_density: float = 1.0) -> BaselineResult:
    """The result of a run, its pressures told apart by themselves."""
    flow, pressure = run.arrays
    return baseline(
        flow, pressure, steps_of(flow, pressure, TICK_S), tick_s=TICK_S,
        settle_s=run.settle_s(), relative_density=relative_density,
    )  # fmt: skip


def run_of_recording(path: Path, rig: Rig, units: Units) -> WaterRun:
    """A water run out of a recording. FlowlogError if there is none in it."""
    feed = recording_feed(path)
    try:
        return water_run(feed, rig, units, lambda _: None, lambda: False, lambda _: "")
    finally:
        feed.close()


def _live(work: Work, feed: Feed) -> dict[str, Any]:
    ask, units = work.interview, work.units
    feed.fresh()
    run = water_run(
        feed, work.current(), units, ask.talk.progress, ask.talk.pressed,
        lambda run: missing(run, units),
    )  # fmt: skip
    baseline_of(run)
    return {
        "flow": [float(f"{one:.7g}") for one in run.flow_m3_s],
        "pressure": [round(one, 1) for one in run.pressure_pa],
    }


def missing(run: WaterRun, units: Units) -> str | None:
    """What a run still needs, in words; None when it is enough."""
    held = run.held()
    short = [(pressure, seconds) for pressure, seconds in held if seconds < HOLD_S]
    done = len(held) - len(short)
    if done >= FEWEST_PRESSURES:
        try:
            result = baseline_of(run)
        except FlowlogError as fault:
            return str(fault)
        wanted = result.seconds_wanted
        return None if result.good_enough or run_s(run) > 1200 else f"{wanted:.0f} s more for 0.3 %"
    if short:
        now = run.pressure_pa[-1]
        pressure, seconds = min(short, key=lambda one: abs(one[0] - now))
        at = show(pressure, "pressure", units)
        return f"{done} of 3 done; hold {at}: {HOLD_S - seconds:.0f} s more"
    if np.count_nonzero(run.arrays[0]) == 0:
        return "open the boom"
    return f"{done} of 3 done; " + ("set the next pressure" if done else "hold the pressure")


def run_s(run: WaterRun) -> float:
    return len(run.flow_m3_s) * TICK_S
