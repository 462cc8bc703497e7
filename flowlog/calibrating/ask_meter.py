"""The meter, asked: runs at one to five flows, each with its pulses and what was caught."""

from __future__ import annotations

from statistics import median
from typing import Any

from flowlog.calibrating.answers import Number, Quantity
from flowlog.calibrating.feed import Feed
from flowlog.calibrating.measure import count_run
from flowlog.calibrating.work import PARKED, WATER, Work
from flowlog.calibration.meter import MeterResult, meter
from flowlog.calibration.meter_doubts import ENOUGH_PULSES, factor_doubt, refuse_run
from flowlog.calibration.meter_runs import MeterRun, run_volume_m3
from flowlog.units import show

RUNS = 3


def ask_meter(work: Work) -> MeterResult:
    """Ask for the runs, counting the pulses live where the board is there."""
    ask, rig, units = work.interview, work.rig, work.units
    enough = show(ENOUGH_PULSES / rig.meter.pulses_per_m3, "volume", units)
    ask.say("You need: a drum for all that passes the meter; scales if you can, they are ten")
    ask.say(f"times as sure as a jug. A run needs {ENOUGH_PULSES} pulses: {enough} or more.")
    ask.say(WATER)
    ask.say(PARKED)
    feed = work.feed("meter")
    flows = int(
        ask.ask(
            "flows",
            "At how many different flows? (1 to 5)",
            Number(1, 5, "a number of flows", whole=True),
            default="1",
            hint="One, the working flow, is enough if you always spray at it; three over the "
            "range show whether the meter reads low at small flows.",
        )
    )
    amount = Quantity(
        "mass",
        "volume",
        unit="lb" if units == "us" else "kg",
        example="41.7 lb" if units == "us" else "18.9 kg",
    )
    runs: list[MeterRun] = []
    for flow in range(1, flows + 1):
        if flows > 1:
            ask.say(f"Flow {flow} of {flows}: set the pressure, leave it for {RUNS} runs.")
        for run in range(1, RUNS + 1):
            runs.append(_ask_run(work, feed, amount, runs, flow, run, flows))
    factors = [run.pulses / run_volume_m3(run) for run in runs]
    doubted = factor_doubt(median(factors), rig.meter.pulses_per_m3) is not None
    return meter(
        runs, rig_meter=rig.meter, working_flow_m3_s=work.current().expected_flow_m3_s,
        believe=doubted,
    )  # fmt: skip


def _ask_run(
    work: Work,
    feed: Feed | None,
    amount: Quantity,
    before: list[MeterRun],
    flow: int,
    run: int,
    flows: int,
) -> MeterRun:
    ask = work.interview
    key = f"{flow}.{run}"
    place = f"Run {run} of {RUNS}" + (f", flow {flow}" if flows > 1 else "")
    counted = _pulses(work, feed, key, place)
    pulses, seconds = float(counted["pulses"]), float(counted["seconds"])

    def made(value: float) -> MeterRun:
        mass = amount.kind == "mass"
        return MeterRun(
            pulses, seconds, None if mass else value, value if mass else None,
            work.water_c, flow if flows > 1 else None,
        )  # fmt: skip

    def doubt(value: float) -> str | None:
        volume = run_volume_m3(made(value))
        factor = pulses / volume
        others = [one.pulses / run_volume_m3(one) for one in before]
        if others and not 0.9 < factor / median(others) < 1.1:
            return f"the pulses per volume are {factor / median(others):.2g} times the other runs'"
        return factor_doubt(factor, work.rig.meter.pulses_per_m3) if not others else None

    value = ask.ask(
        f"amount {key}",
        f"{place}: weight or volume caught",
        amount,
        doubt=doubt,
        hint="The water's weight without the drum ('41.7 lb', '18.9 kg'), or its volume ('5 gal').",
    )
    return made(value)


def _pulses(work: Work, feed: Feed | None, key: str, place: str) -> dict[str, Any]:
    ask, current = work.interview, work.current()
    if feed is None:
        pulses = ask.ask(
            f"pulses {key}", f"{place}: pulses", Number(1, 1e8, "a number of pulses", whole=True)
        )
        seconds = ask.ask(f"time {key}", f"{place}: time", Quantity("time", unit="s"))
        return {"pulses": pulses, "seconds": seconds}

    def count() -> dict[str, Any]:
        feed.fresh()
        found = count_run(feed, current, work.units, ask.talk.progress, ask.talk.pressed)
        # Any volume will do here: what is asked is whether the count can be used at all.
        refuse_run(1, found["pulses"], found["seconds"], 1.0)
        return found

    def tell(found: dict[str, Any]) -> str:
        return f"{found['pulses']:.0f} pulses in {found['seconds']:.1f} s"

    return ask.measure(f"count {key}", f"{place}: drum empty, boom shut? Enter; open when told.",
                       count, tell)  # fmt: skip
