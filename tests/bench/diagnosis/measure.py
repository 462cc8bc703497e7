"""One job: a simulated route or trial through the real monitor, and what it said."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from math import log
from typing import Any, NamedTuple

import numpy as np
from bench.diagnosis.scenarios import (
    AFTER_S,
    CASES,
    UNCHECKED,
    checked_rig,
    density_route,
    healthy_route,
    pressure_route,
    rig_of,
    start_route,
    trial,
)

from flowlog.monitor.outputs import Event, Output
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stream import StreamItem, TankFill
from flowlog.rig.model import HealthyBoom
from flowlog.simulator.board import in_order
from flowlog.simulator.plan import Fault
from flowlog.simulator.run import Simulated, scenario_for, simulate, with_faults

_BOOM_ALERTS = ("tip_blocked", "boom_leak")
_PIECE = 50
"""Samples between two looks at whether the alert has come."""
FOLLOWED_S = 32.0
"""Boom-on seconds for which an alert is followed after it opened."""


class Job(NamedTuple):
    kind: str
    name: str
    tips: int
    seed: int
    hours: float = 0.0
    limits: tuple[float, ...] = ()
    """Of the reference detectors, where they were tuned."""


def run(job: Job) -> dict[str, Any]:
    """Do a job. The result is ready for JSON."""
    match job.kind:
        case "healthy":
            return _healthy(job)
        case "trial":
            return _trial(job)
        case "pressure":
            scenario, moves = pressure_route(job.tips, job.seed, job.hours)
            return {"moves": moves, "codes": _codes(simulate(scenario))}
        case "start":
            return {
                "codes": _codes(simulate(start_route(job.name, job.tips, job.seed)), _known(job))
            }
        case "density":
            return _density(job)
        case "wear":
            return _wear(job)
        case _:
            raise ValueError(job.kind)


def stream(run: Simulated, first: int, last: int) -> Iterator[StreamItem]:
    """What the board sent from one sample up to another, hellos before their samples."""
    hellos = [
        (before - first, hello)
        for before, hello in run.hellos
        if first <= before < last or (before == last == len(run.samples))
    ]
    return in_order(run.samples[first:last], hellos)


class Clock:
    """Places in the stream as boom-on seconds."""

    def __init__(self, run: Simulated) -> None:
        self._run = run
        self.open_s = np.cumsum(run.truth.spraying) * run.truth.step_s

    def of(self, event_seq: int) -> float:
        return float(self.open_s[self._run.grid[event_seq]])

    def at(self, t_s: float) -> float:
        """Boom-on seconds at a moment, between samples as well."""
        return float(np.interp(t_s, self._run.truth.t_s, self.open_s))


def _said(event: Event, clock: Clock, onset_s: float) -> list[Any]:
    """An event as a row: code, change, when, onset (boom-on s after the true one), size..."""
    details = {key: value for key, value in event.details.items() if np.isfinite(value)}
    return [
        event.code,
        event.change,
        round(clock.of(event.at.seq) - onset_s, 2),
        round(clock.of(event.since.seq) - onset_s, 2),
        event.size,
        event.size_low,
        event.size_high,
        event.size_unit,
        details,
        event.alert,
    ]


def _healthy(job: Job) -> dict[str, Any]:
    sim = simulate(healthy_route(job.name, job.tips, job.seed, job.hours))
    clock = Clock(sim)
    monitor = Monitor(checked_rig(job.tips, job.seed))
    shares: list[float] = []
    events: list[Event] = []
    for item in sim.items:
        out = monitor.feed(item)
        events += out.events
        shares += [r.conductance_share for r in out.readings if r.conductance_share]
    out = monitor.finish()
    events += out.events
    total = float(clock.open_s[-1])
    open_since: dict[str, float] = {}
    blind = 0.0
    for event in events:
        if event.code in _BOOM_ALERTS and event.change == "opened":
            open_since[event.alert] = clock.of(event.at.seq)
        elif event.alert in open_since and event.change == "cleared":
            blind += clock.of(event.at.seq) - open_since.pop(event.alert)
    blind += sum(total - begun for begun in open_since.values())
    late = shares[600:]
    return {
        "spraying_s": total,
        "blind_s": blind,
        "said": [
            [e.code, e.change, round(clock.of(e.at.seq), 1), e.size]
            for e in events
            if e.change in ("opened", "noted")
        ],
        "level": float(np.mean(np.log(late))) if late else None,
    }


def _trial(job: Job) -> dict[str, Any]:
    """All cases at the same moment of the same work, each with a copy of the same monitor."""
    plan = trial(job.name, job.tips, job.seed)
    healthy = simulate(plan.scenario)
    cut = healthy.sample_at(plan.at_s) - 1
    unchecked = job.name == UNCHECKED
    warm = Monitor(rig_of(job.tips) if unchecked else checked_rig(job.tips, job.seed))
    early = [e.code for item in stream(healthy, 0, cut) for e in warm.feed(item).events]
    said = {}
    for case in CASES.values():
        if job.name == "random" and not case.delays:
            continue
        sim = simulate(with_faults(plan.scenario, *case.faults(plan.scenario, plan.at_s)))
        said[case.name] = _follow(deepcopy(warm), sim, cut, plan.at_s)
    return {"early": early, "said": said}


def _follow(monitor: Monitor, sim: Simulated, cut: int, at_s: float) -> list[list[Any]]:
    clock = Clock(sim)
    onset_s = clock.at(at_s)
    rows: list[list[Any]] = []
    until_s = AFTER_S
    end = len(sim.samples)
    for first in range(cut, end, _PIECE):
        last = min(first + _PIECE, end)
        for item in stream(sim, first, last):
            rows += [_said(e, clock, onset_s) for e in monitor.feed(item).events]
        if rows:
            until_s = min(until_s, rows[0][2] + FOLLOWED_S + 10.0)
        if clock.of(last - 1) - onset_s > until_s:
            break
    return rows


def _known(job: Job) -> HealthyBoom:
    """The calibrated baseline of a boom of new tips, water, good to 0.2 %."""
    return HealthyBoom(log(rig_of(job.tips).nominal_conductance), 0.002)


def _codes(sim: Simulated, baseline: HealthyBoom | None = None) -> list[str]:
    monitor = Monitor(sim.scenario.rig, baseline)
    outs = [*map(monitor.feed, sim.items), monitor.finish()]
    return [e.code for out in outs for e in out.events if e.change in ("opened", "noted")]


def _density(job: Job) -> dict[str, Any]:
    """A new mix at a refill that is told ("told") or not ("untold")."""
    scenario, at_s, share = density_route(job.tips, job.seed)
    sim = simulate(scenario)
    cut = sim.sample_at(at_s)
    monitor = Monitor(checked_rig(job.tips, job.seed))
    events: list[Event] = []

    def take(out: Output) -> None:
        events.extend(out.events)

    for item in stream(sim, 0, cut):
        take(monitor.feed(item))
    if job.name == "told":
        take(monitor.feed(TankFill(0.2)))
    for item in stream(sim, cut, len(sim.samples)):
        take(monitor.feed(item))
    take(monitor.finish())
    return {
        "share": share,
        "codes": [e.code for e in events if e.change in ("opened", "noted")],
    }


def _wear(job: Job) -> dict[str, Any]:
    """All tips wear by 10 % over twenty hours."""
    scenario = scenario_for(rig_of(job.tips), hours=job.hours, noise="field", seed=job.seed)
    worn = Fault("tip worn", 1800.0, size=0.1 * job.hours / 20.0, over_s=job.hours * 3600.0)
    sim = simulate(with_faults(scenario, worn))
    clock, monitor = Clock(sim), Monitor(rig_of(job.tips))
    outs = [*map(monitor.feed, sim.items), monitor.finish()]
    onset_s = clock.at(1800.0)
    return {"said": [_said(e, clock, onset_s) for out in outs for e in out.events]}
