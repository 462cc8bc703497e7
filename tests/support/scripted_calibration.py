"""A whole calibration of a simulated rig whose true values are hidden, as a script does it.

Hands, watch, jug, scales and reference gauge err as `flowlog.calibration` assumes they may; meter
and gauge are the simulator's, read through the same code that reads a real board.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from flowlog.calibrating.ask_baseline import baseline_of
from flowlog.calibrating.inuse import healthy_boom
from flowlog.calibrating.measure import count_run, steady_code, water_run
from flowlog.calibration.apply import Result, apply
from flowlog.calibration.catch import CatchResult, Caught, catch
from flowlog.calibration.catch_budget import FL_OZ_M3, CatchErrors
from flowlog.calibration.course import CourseResult, course
from flowlog.calibration.gauge import GaugeErrors, GaugePoint, GaugeResult, gauge
from flowlog.calibration.meter import MeterResult, meter
from flowlog.calibration.meter_runs import AIR_KG_M3, WEIGHTS_KG_M3, MeterErrors, MeterRun
from flowlog.physics.water import density_kg_m3
from flowlog.rig.model import HealthyBoom, Rig
from flowlog.simulator.plan import Fault, GaugePlan, Leg, MeterPlan, Scenario
from flowlog.simulator.plant import Truth
from flowlog.simulator.run import plain_rig, scenario_for, simulate
from flowlog.simulator.supply import PSI
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

METER_ERROR = 0.04
ZERO_PSI = 1.2
SPAN_ERROR = 0.02
WORN_TIP = 3
WORN_SHARE = 0.12
SPEED_ERROR = 0.03
WATER_C = 17.0


class ItemFeed:
    """A feed of what a simulated board sent."""

    def __init__(self, items: list[Samples | Hello]) -> None:
        self._items = items
        self.name = "simulated"
        self.ended = False

    def take(self) -> list[Samples | Hello]:
        items, self._items, self.ended = self._items, [], True
        return items

    def fresh(self) -> None:
        """All of it is fresh."""

    def close(self) -> None:
        """Nothing to let go of."""


@dataclass
class Calibrated:
    rig: Rig
    """As its file says: all wrong."""
    true_speed_m_s: float
    course: CourseResult
    catch: CatchResult
    true_tips_m3_s: list[float]
    meter: MeterResult
    true_pulses_per_m3: float
    gauge: GaugeResult
    baseline: Result

    @property
    def applied(self) -> Rig:
        return apply(self.rig, [self.course, self.meter, self.gauge])

    @property
    def healthy(self) -> HealthyBoom:
        return healthy_boom(self.baseline, self.applied)


def scenario(rig: Rig, seed: int, legs: tuple[Leg, ...], *faults: Fault) -> Scenario:
    """The rig at work, with what is wrong with it."""
    worn = Fault("tip worn", 0.0, WORN_SHARE, tip=WORN_TIP)
    return dataclasses.replace(
        scenario_for(rig, legs=legs, faults=(worn, *faults), seed=seed),
        meter=MeterPlan(error_share=METER_ERROR),
        gauge=GaugePlan(
            offset_share=ZERO_PSI * PSI / rig.gauge.span_pa, span_error_share=SPAN_ERROR
        ),
    )


def _quiet(_text: str) -> None:
    """Nobody looks at the progress."""


def _never() -> bool:
    return False


def calibrate(seed: int) -> Calibrated:
    """All five steps."""
    rng = np.random.default_rng([seed, 4711])
    rig = plain_rig(8)
    speed = rig.work.speed_m_s * (1.0 + SPEED_ERROR)
    found = _course(rig, speed, rng)
    caught, flows = _catch(rig, seed, found, rng)
    meter_result = _meter(rig, seed, rng)
    gauge_result = _gauge(rig, seed, rng)
    sensors = apply(rig, [meter_result, gauge_result])
    return Calibrated(
        rig, speed, found, caught, flows, meter_result,
        rig.meter.pulses_per_m3 * (1.0 + METER_ERROR), gauge_result,
        _baseline(rig, sensors, seed),
    )  # fmt: skip


def _course(rig: Rig, speed: float, rng: np.random.Generator) -> CourseResult:
    tape = 150 * 0.3048
    true = tape + rng.uniform(-0.0762, 0.0762)
    times: list[float] = []
    while True:
        drive = speed * (1.0 + 0.0175 * rng.standard_normal())
        times.append(round(true / drive + 0.15 * rng.standard_normal(), 2))
        result = course(rig.boom.effective_width_m, tape, times)
        if len(times) >= 2 and result.verdict not in {"second run wanted", "third run wanted"}:
            return result


def _catch(
    rig: Rig, seed: int, found: CourseResult, rng: np.random.Generator
) -> tuple[CatchResult, list[float]]:
    seconds, errors = 30.0, CatchErrors()
    run = simulate(scenario(rig, seed + 1000, (Leg(5.0, False), Leg(60.0, True))))
    truth = run.truth
    part = (truth.t_s > 15.0) & (truth.t_s <= 45.0)
    flows = [float(truth.tip_flow_m3_s(tip)[part].mean()) for tip in range(1, rig.boom.tips + 1)]
    pressure = float(truth.tip_pa[part].mean())
    jug = 1.0 + rng.uniform(-1, 1) * errors.jug_share
    caught = []
    for tip, flow in enumerate(flows, 1):
        volume = flow * (seconds + rng.uniform(-1, 1) * errors.timing_s) * jug
        volume += rng.uniform(-1, 1) * errors.reading_m3
        caught.append(Caught(tip, round(volume / FL_OZ_M3, 2) * FL_OZ_M3, seconds))
    return catch(rig.boom, caught, course=found, pressure_pa=pressure), flows


def _meter(rig: Rig, seed: int, rng: np.random.Generator) -> MeterResult:
    errors = MeterErrors()
    scales = 1.0 + rng.uniform(-1, 1) * errors.scale_share
    runs = []
    for number in range(3):
        done = simulate(
            scenario(
                rig, seed * 7 + 2000 + number, (Leg(6.0, False), Leg(90.0, True), Leg(10.0, False))
            )
        )
        found = count_run(ItemFeed(done.items), rig, "us", _quiet, _never)
        mass = _weighed(done.truth) * scales + rng.uniform(-1, 1) * errors.weighing_kg
        runs.append(MeterRun(found["pulses"], found["seconds"], mass_kg=mass, water_c=WATER_C))
    return meter(runs, rig_meter=rig.meter, working_flow_m3_s=rig.expected_flow_m3_s)


def _weighed(truth: Truth) -> float:
    density = density_kg_m3(WATER_C)
    lift = (1.0 - AIR_KG_M3 / density) / (1.0 - AIR_KG_M3 / WEIGHTS_KG_M3)
    return truth.total_volume_m3 * density * lift


def _gauge(rig: Rig, seed: int, rng: np.random.Generator) -> GaugeResult:
    errors = GaugeErrors()
    reference = 1.0 + rng.uniform(-1, 1) * errors.reference_share
    vented = dataclasses.replace(
        scenario(rig, seed + 3000, (Leg(20.0, False),)), check_pa=(1e-3, 2e-3)
    )
    points = [GaugePoint(0.0, _code(vented, rig)[0])]
    for number, share in enumerate((-0.3, 0.0, 0.25)):
        held = scenario(
            rig, seed * 5 + 4000 + number, (Leg(2.0, False), Leg(40.0, True)),
            Fault("regulator", 0.0, share),
        )  # fmt: skip
        code, pressure = _code(held, rig, from_s=25.0)
        read = pressure * reference + rng.uniform(-1, 1) * errors.reading_pa
        points.append(GaugePoint(read, code, "up"))
    return gauge(points, rig.gauge)


def _code(plan: Scenario, rig: Rig, from_s: float = 0.0) -> tuple[float, float]:
    """Mean code, and the true pressure at the gauge at the same time."""
    run = simulate(plan)
    first = run.sample_at(from_s)
    items: list[Samples | Hello] = [run.hellos[0][1], run.samples[first:]]
    found = steady_code(ItemFeed(items), rig, _quiet, _never)
    truth = run.truth
    part = (truth.t_s > from_s) & (truth.t_s <= from_s + found["seconds"] + 0.5)
    return float(found["share"]), float(truth.gauge_pa[part].mean())


def _baseline(rig: Rig, sensors: Rig, seed: int) -> Result:
    low = Fault("regulator", 0.0, -0.35, until_s=80.0)
    high = Fault("regulator", 155.0, 0.3)
    plan = scenario(rig, seed + 5000, (Leg(4.0, False), Leg(232.0, True)), low, high)
    run = water_run(ItemFeed(simulate(plan).items), sensors, "us", _quiet, _never, lambda _: "")
    return baseline_of(run)
