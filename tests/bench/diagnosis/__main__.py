"""Measure everything and write the tables. See the package's docstring."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs
from bench.diagnosis import measure, references, report
from bench.diagnosis.bounds import Autoregression, yule_walker
from bench.diagnosis.measure import Job
from bench.diagnosis.scenarios import (
    GAMMA_H,
    JUDGING_SEED,
    ON_SHARE,
    ROUTE_H,
    SEEDS_BETWEEN,
    START_CASES,
    SURROUNDINGS,
    TIPS,
    TUNING_SEED,
    UNCHECKED,
    pump_of,
)
from bench.diagnosis.work import Bench

Result = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Effort:
    """How much of everything."""

    nominal_h: float = 2000.0
    other_h: float = 500.0
    tuning_h: float = 500.0
    trials: int = 240
    moves: int = 1000
    densities: int = 60
    wears: int = 6

    @staticmethod
    def quick() -> Effort:
        return Effort(12.0, 6.0, 12.0, 6, 40, 2, 0)


def _routes(hours: float) -> int:
    return max(1, int(np.ceil(hours / (ROUTE_H * ON_SHARE))))


class Course:
    """The whole bench, section after section."""

    def __init__(self, bench: Bench, effort: Effort, seed: int) -> None:
        self._bench, self._effort, self._seed = bench, effort, seed
        self._trials: dict[tuple[int, str], list[Result]] = {}
        self._references: dict[int, list[Result]] = {}
        self._noise: dict[int, Autoregression] = {}
        self._tuned: list[list[object]] = []

    def _jobs(
        self, job: Job, count: int, run: Callable[[Job], Result], seed: int | None = None
    ) -> list[Result]:
        first = (self._seed if seed is None else seed) + SEEDS_BETWEEN * job.tips
        jobs = [job._replace(seed=first + number) for number in range(count)]
        return self._bench.results(f"{job.kind} {job.name} N={job.tips}", jobs, run)

    def measure(self) -> None:
        """What more than one section needs."""
        effort = self._effort
        for tips in TIPS:
            job = Job("reference healthy", "nominal", tips, 0, ROUTE_H)
            tuning = self._jobs(job, _routes(effort.tuning_h), references.run, TUNING_SEED)
            self._noise[tips] = yule_walker(np.mean([r["covariance"] for r in tuning], axis=0))
            tuned = references.limits(tuning, GAMMA_H)
            judged = self._jobs(job._replace(limits=tuned), _routes(effort.other_h), references.run)
            hours = sum(result["hours"] for result in judged)
            counts = references.false_alarms(judged, tuned)
            self._tuned.append(
                [
                    tips,
                    f"{tuned[0]:.2f}",
                    f"{tuned[1]:.0e}",
                    f"{100 * tuned[2]:.1f} %",
                    f"{hours:.0f}",
                    *counts,
                ]
            )
            job = Job("reference trial", "settled", tips, 0, 0.0, tuned)
            self._references[tips] = self._jobs(job, effort.trials, references.run)
            for placement in ("settled", "random"):
                found = self._jobs(Job("trial", placement, tips, 0), effort.trials, measure.run)
                for number, result in enumerate(found):
                    result["pump"] = pump_of(self._seed + SEEDS_BETWEEN * tips + number)
                self._trials[tips, placement] = found
            few = max(6, effort.trials // 3)
            self._trials[tips, UNCHECKED] = self._jobs(
                Job("trial", UNCHECKED, tips, 0), few, measure.run
            )

    def sections(self) -> Iterator[str]:
        yield self._delays()
        yield self._others()
        yield self._false_alarms()
        yield self._harmless()
        yield self._classes()
        yield self._sizes()
        yield self._onsets()
        if self._effort.wears:
            yield self._wear()

    def _delays(self) -> str:
        rows, notes = [], []
        for tips in TIPS:
            trials = {place: self._trials[tips, place] for place in ("settled", "random")}
            rows += report.delay_rows(tips, trials, self._references[tips], self._noise[tips])
            left = {place: len(report.usable(found)) for place, found in trials.items()}
            notes.append(f"N={tips}: {left['settled']} settled, {left['random']} random trials.")
        noise = [
            [tips, f"{1e4 * model.density_s(0.1):.2f}", f"{100 * model.innovation:.2f} %"]
            for tips, model in self._noise.items()
        ]
        head = ("N", "PH threshold", "ADWIN delta", "MA limit", "judged h", "PH", "ADWIN", "MA")
        return "\n\n".join(
            [
                "## Delay, boom-on seconds from onset to alert: median/90th percentile",
                "Settle time and hold-back are in the monitor's delays; the reference detectors "
                "are not charged for the hold-back. – is: not within 400 s. Bounds and reference "
                f"detectors at one false alarm in {GAMMA_H:.0f} h. " + " ".join(notes),
                report.table(report.DELAY_HEAD, rows),
                "Reference detectors as tuned on the tuning seeds, and their false alarms on the "
                "judging seeds:",
                report.table(head, self._tuned),
                "Noise of the residual at 10 Hz: S(0) in 1e-4 s, and innovation of AR(40):",
                report.table(("N", "S(0)", "innovation"), noise),
            ]
        )

    def _others(self) -> str:
        rows = [
            row for tips in TIPS for row in report.other_rows(tips, self._trials[tips, "settled"])
        ]
        return "\n\n".join(
            [
                "## Other faults, boom-on seconds from onset to alert: median/90th percentile",
                "An alert is followed for 40 s; a name that comes later counts as never. The "
                "strainer clogs over a minute.",
                report.table(report.OTHER_HEAD, rows),
            ]
        )

    def _false_alarms(self) -> str:
        rows = []
        for around in SURROUNDINGS.values():
            hours = self._effort.nominal_h if around.name == "nominal" else self._effort.other_h
            for tips in TIPS:
                job = Job("healthy", around.name, tips, 0, ROUTE_H)
                rows.append(
                    report.false_alarms(
                        around.name, tips, self._jobs(job, _routes(hours), measure.run)
                    )
                )
        return "\n\n".join(
            [
                "## Alerts where nothing is wrong",
                f"Routes of {ROUTE_H:.0f} h, each learning its level from the start. Level error: "
                "of the level that the monitor compares with, against the mean of the route.",
                report.table(report.FALSE_HEAD, rows),
            ]
        )

    def _harmless(self) -> str:
        rows = []
        for tips in TIPS:
            count = max(1, round(self._effort.moves / 150))
            job = Job("pressure", "moves", tips, 0, ROUTE_H)
            found = self._jobs(job, count, measure.run)
            rows.append([tips, *report.moves("pressure steps and ramps of 10 %", found)])
        for name in ("told", "untold"):
            for tips in TIPS:
                found = self._jobs(
                    Job("density", name, tips, 0), self._effort.densities, measure.run
                )
                for share, word in ((0.1, "denser"), (-0.1, "lighter")):
                    part = [result for result in found if result["share"] == share]
                    rows.append([tips, *report.moves(f"mix 10 % {word}, refill {name}", part)])
        head = ("N", "what", "times", "tip or leak alerts", "all alerts")
        begun = []
        for tips in TIPS:
            for name in START_CASES:
                found = self._jobs(Job("start", name, tips, 0), self._effort.densities, measure.run)
                begun.append([tips, *report.moves(name, found)])
        return "\n\n".join(
            [
                "## What must not look like a tip",
                report.table(head, rows),
                "## What a route begins with, against a calibrated baseline (half an hour)",
                report.table(head, begun),
            ]
        )

    def _classes(self) -> str:
        parts = [
            "## What the monitor calls it",
            "Each rig has had a capped-tip check, simulated with the same noise; below, the share "
            "right on rigs without one.",
        ]
        for tips in TIPS:
            wait_s = 10.0 if tips < 12 else 30.0
            found = self._trials[tips, "settled"]
            matrix, shares = report.confusion(found, wait_s)
            _, unchecked = report.confusion(self._trials[tips, UNCHECKED], wait_s)
            parts += [
                f"### N = {tips}, {wait_s:.0f} s after the first alert",
                "; ".join(shares) + ".",
                "Without the check: " + "; ".join(unchecked[:3]) + ".",
                matrix,
                report.table(("pump", "share right"), report.by_pump(found, wait_s)),
            ]
        return "\n\n".join(parts)

    def _sizes(self) -> str:
        rows = []
        stated = []
        for tips in TIPS:
            wait_s = 10.0 if tips < 12 else 30.0
            rows += report.interval_rows(tips, self._trials[tips, "settled"], wait_s)
            stated += [
                [tips, *row] for row in report.probabilities(self._trials[tips, "settled"], wait_s)
            ]
        parts = [
            "## Do the 95 % intervals of the size hold the truth?",
            "Later: 10 s after the alert (N = 4, 6), 30 s (N = 12). Half widths in tips, of a "
            "leak in per cent.",
            report.table(report.INTERVAL_HEAD, rows),
            "## Are stated probabilities right?",
            report.table(("N", "stated", "mean stated", "right", "events"), stated)
            if stated
            else "No event states one.",
        ]
        return "\n\n".join(parts)

    def _onsets(self) -> str:
        rows = []
        for tips in TIPS:
            trials = self._trials[tips, "settled"]
            rows += report.onset_rows(tips, trials, self._references[tips])
        return "\n\n".join(
            [
                "## Error of the onset, s: median/90th percentile",
                "Ruptures sees the record from a minute before to half a minute after the onset.",
                report.table(report.ONSET_HEAD, rows),
            ]
        )

    def _wear(self) -> str:
        rows = []
        for tips in TIPS:
            job = Job("wear", "10 % in 20 h", tips, 0, 16.0)
            found = self._jobs(job, self._effort.wears, measure.run)
            rows.append(report.wear_row(tips, found))
        head = ("N", "spraying h to the first alert", "which")
        return "## All tips wear by 10 % in 20 h\n\n" + report.table(head, rows)


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m bench.diagnosis", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a minute's worth of everything")
    parser.add_argument("--hours", type=float, help="spraying hours without a fault for each N")
    parser.add_argument("--trials", type=int, help="trials for each N, fault and placement")
    parser.add_argument("--tune", action="store_true", help="on the tuning seeds")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--cache", type=Path, help="folder that keeps what was measured")
    parser.add_argument("--out", type=Path, help="write the tables here, too")
    options = parser.parse_args(arguments)
    effort = Effort.quick() if options.quick else Effort()
    if options.hours:
        other_h = min(effort.other_h, options.hours)
        effort = Effort(options.hours, other_h, trials=effort.trials)
    if options.trials:
        effort = Effort(
            **{**{f: getattr(effort, f) for f in Effort.__slots__}, "trials": options.trials}
        )
    seed = TUNING_SEED if options.tune else JUDGING_SEED
    folder = options.cache or platformdirs.user_cache_path("flowlog") / "bench"
    bench = Bench(folder, options.processes)
    begun = time.monotonic()
    course = Course(bench, effort, seed)
    course.measure()
    text = "\n\n".join(
        [
            "# Diagnosis measured on simulated rigs",
            f"Made by `python -m bench.diagnosis`, code {bench.digest}. Thresholds of the "
            f"reference detectors were tuned on seeds from {TUNING_SEED} on, everything here was "
            f"measured on seeds from {seed} on, N tips {SEEDS_BETWEEN} N later. "
            "Noise: 'field' of the simulator; the three types of pump in turn, "
            "boom-valve input fitted. Simulated: no field has been sprayed.",
            *course.sections(),
        ]
    )
    print(text)
    if options.out:
        options.out.write_text(text + "\n")
    print(f"{time.monotonic() - begun:.0f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
