"""What is simulated: the rig and its supply, the work in legs, the faults, the electronics."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final, Literal, get_args

import numpy as np

from flowlog.rig.model import Rig
from flowlog.simulator.noise import Noise
from flowlog.simulator.supply import PSI, Supply

FaultKind = Literal[
    "tip blocked",
    "tip worn",
    "tip missing",
    "leak after meter",
    "leak before meter",
    "strainer",
    "strainer after gauge",
    "pump weak",
    "regulator",
    "tank empty",
    "air",
    "foam",
    "density",
    "rough flow",
    "meter stuck",
    "meter open",
    "meter double",
    "gauge open",
    "gauge short",
    "gauge stuck",
    "gauge drift",
    "board reset",
    "cable unplugged",
    "corrupt lines",
    "lost lines",
]

FAULT_SIZES: Final[dict[FaultKind, tuple[float, str]]] = {
    "tip blocked": (1.0, "share of the tip's flow that is lost"),
    "tip worn": (0.10, "share by which the tip (all tips, without `tip`) flows more"),
    "tip missing": (6.0, "times the flow of a tip"),
    "leak after meter": (1.0, "in tips"),
    "leak before meter": (1.0, "in tips"),
    "strainer": (10.0, "times the line's clean loss; before meter and gauge"),
    "strainer after gauge": (0.3, "loss behind the gauge, relative to that of the tips"),
    "pump weak": (0.3, "share of the pump's flow that is lost"),
    "regulator": (-0.1, "share by which the pressure moves"),
    "tank empty": (1.0, "share of air when it has run out"),
    "air": (0.1, "mean share of air in what the pump draws"),
    "foam": (0.05, "mean share of air in what the pump draws"),
    "density": (0.1, "share by which the mix is denser; negative for lighter"),
    "rough flow": (2.0, "times the swirl that moves the meter and not the gauge"),
    "meter stuck": (1.0, "share of its pulses that the meter loses"),
    "meter open": (1.0, "not used: no pulse arrives"),
    "meter double": (1.0, "share of pulses that are counted twice"),
    "gauge open": (1.0, "not used: with a pull-down the reading goes to the lower rail"),
    "gauge short": (1.0, "not used: short to the supply, the reading goes to the upper rail"),
    "gauge stuck": (1.0, "not used: the reading stays where it was"),
    "gauge drift": (0.05, "zero error as a share of the span"),
    "board reset": (1.5, "seconds until the board runs again"),
    "cable unplugged": (1.0, "not used: no byte arrives until `until`"),
    "corrupt lines": (0.01, "share of lines with a damaged byte"),
    "lost lines": (0.01, "share of lines that do not arrive"),
}
"""Default size of each fault, and what the number means."""

FAULT_KINDS: Final[tuple[FaultKind, ...]] = get_args(FaultKind)


@dataclass(frozen=True, slots=True)
class Fault:
    """Something goes wrong at `at_s`, growing over `over_s`, until `until_s`."""

    kind: FaultKind
    at_s: float
    size: float | None = None
    """None for the default of `FAULT_SIZES`."""
    over_s: float = 0.0
    until_s: float = math.inf
    tip: int | None = None
    """1 to N, from the left; for the faults of a tip."""
    cause: str = "watchdog"
    """For a board reset: as the board will call it."""

    @property
    def full_size(self) -> float:
        return FAULT_SIZES[self.kind][0] if self.size is None else self.size


@dataclass(frozen=True, slots=True)
class Leg:
    """A stretch of time with the boom valve open or closed."""

    duration_s: float
    spraying: bool
    stop: str | None = None
    """Name of the stop that it belongs to; None while travelling."""
    refill: bool = False
    """The tank is filled to its starting volume at the beginning of this leg."""


def passes(
    count: int, spray_s: float, pause_s: float, stop: str | None = None, lead_s: float = 5.0
) -> tuple[Leg, ...]:
    """`count` equal passes with a turn after each, after `lead_s` of standing."""
    legs = [Leg(lead_s, False, stop)] if lead_s else []
    for _ in range(count):
        legs += [Leg(spray_s, True, stop), Leg(pause_s, False, stop)]
    return tuple(legs)


def varied_passes(
    duration_s: float,
    seed: int,
    spray_s: tuple[float, float] = (20.0, 90.0),
    pause_s: tuple[float, float] = (8.0, 20.0),
) -> tuple[Leg, ...]:
    """Passes and turns of random length for `duration_s`, for statistics over many hours."""
    rng = np.random.default_rng([seed, 77])
    count = int(duration_s / (spray_s[0] + pause_s[0])) + 2
    on, off = rng.uniform(*spray_s, count), rng.uniform(*pause_s, count)
    legs = [Leg(5.0, False)]
    total = 5.0
    for a, b in zip(on.tolist(), off.tolist(), strict=True):
        if total >= duration_s:
            break
        legs += [Leg(a, True), Leg(b, False)]
        total += a + b
    return tuple(legs)


@dataclass(frozen=True, slots=True)
class MeterPlan:
    """How the true meter differs from what the rig file says of it."""

    error_share: float = 0.0
    """True pulses per volume over the rig file's, less one."""
    lag_s: float | None = None
    """First-order lag of the rotor; None draws one from 0.15 to 0.25 s."""
    drag_m3_s: float = 0.0
    """Flow that bearing drag eats: pulses follow flow less this (f = k Q - a)."""


@dataclass(frozen=True, slots=True)
class GaugePlan:
    """How the true gauge differs from what the rig file says of it."""

    offset_share: float = 0.0
    """Zero error as a share of the span."""
    span_error_share: float = 0.0


@dataclass(frozen=True, slots=True)
class BoardPlan:
    """The board. The `start_` values are for tests of wrapping: real counters begin at 0."""

    boot: int = 1
    firmware: str = "sim-1"
    name: str = "simulated"
    adc_bits: int = 10
    period_ms: int = 100
    readings_per_sample: int = 100
    tick_us: int = 4
    """Resolution of the board's microsecond clock."""
    crystal_ppm: float = 0.0
    """How much too fast its clock runs."""
    meter: bool = True
    gauge: bool = True
    valve: bool = True
    wheel: bool = False
    start_pulses: int = 0
    start_clock_us: int = 0
    start_seq: int = 0

    @property
    def channels(self) -> str:
        fitted = zip("FPVW", (self.meter, self.gauge, self.valve, self.wheel), strict=True)
        return "".join(letter for letter, there in fitted if there)


@dataclass(frozen=True, slots=True)
class Scenario:
    """Everything that `simulate` needs; the same scenario gives the same bytes."""

    rig: Rig
    supply: Supply
    legs: tuple[Leg, ...]
    faults: tuple[Fault, ...] = ()
    noise: Noise = field(default_factory=Noise)
    seed: int = 1
    board: BoardPlan = BoardPlan()
    meter: MeterPlan = MeterPlan()
    gauge: GaugePlan = GaugePlan()
    tank_m3: float | None = None
    """What is in the tank at the start; None never runs out."""
    check_pa: tuple[float, float] = (8.0 * PSI, 10.0 * PSI)
    """The tips' check valves close at a pressure drawn from this range."""
    rise_s: tuple[float, float] = (1.0, 2.0)
    """Time in which an opened boom comes within 1 % of its pressure; drawn for each opening."""
    hose_m3_pa: float = 0.0
    """How much more the hoses between meter and tips hold for each Pa: while the pressure rises,
    the meter counts what fills them, too."""
    tip_spread_share: float = 0.0
    """Standard deviation of the tips' flows as they were made."""
    name: str = "scenario"

    @property
    def duration_s(self) -> float:
        return sum(leg.duration_s for leg in self.legs)

    def of(self, *kinds: FaultKind) -> Iterator[Fault]:
        """The faults of these kinds."""
        return (fault for fault in self.faults if fault.kind in kinds)

    def stops(self) -> list[tuple[str, float, float]]:
        """Name, begin and end (s) of each stop, from its first spraying to its last."""
        found: list[tuple[str, float, float]] = []
        at = 0.0
        for leg in self.legs:
            end = at + leg.duration_s
            if leg.spraying and leg.stop is not None:
                if found and found[-1][0] == leg.stop:
                    found[-1] = (leg.stop, found[-1][1], end)
                else:
                    found.append((leg.stop, at, end))
            at = end
        return found
