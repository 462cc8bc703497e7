"""From a scenario to everything that came of it, in memory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flowlog.rig.model import Board, Boom, Gauge, Meter, Rig, Tank, Tip, Work
from flowlog.simulator.board import board_samples, in_order
from flowlog.simulator.cable import arrives
from flowlog.simulator.noise import Noise, noise_called
from flowlog.simulator.plan import Fault, Leg, Scenario, varied_passes
from flowlog.simulator.plant import Truth, run_plant
from flowlog.simulator.sensors import gauge_readings, meter_pulses, wheel_pulses
from flowlog.simulator.supply import GAL_MIN, PSI, Family, sized_supply
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples


@dataclass(frozen=True, slots=True, eq=False)
class Simulated:
    """A scenario and what came of it."""

    scenario: Scenario
    truth: Truth
    samples: Samples
    """Every sample that the board sent, before the cable."""
    hellos: tuple[tuple[int, Hello], ...]
    """Each hello with the number of samples sent before it."""
    grid: NDArray[np.int64]
    """For each sample, its index in the arrays of the truth (they differ after a reset)."""

    @property
    def items(self) -> list[Samples | Hello]:
        """What the board sent, in order: samples grouped between hellos. A lossless cable."""
        return list(in_order(self.samples, list(self.hellos)))

    @property
    def received(self) -> list[Samples | Hello]:
        """What a decoder would pass on behind the scenario's cable: damaged lines are gone."""
        kept_samples, kept_hellos = arrives(self)
        rank = np.concatenate(([0], np.cumsum(kept_samples)))
        hellos = [
            (int(rank[before]), hello)
            for (before, hello), kept in zip(self.hellos, kept_hellos, strict=True)
            if kept
        ]
        return list(in_order(Samples(self.samples.table[kept_samples]), hellos))

    @property
    def t_s(self) -> NDArray[np.float64]:
        """Scenario time of each sample."""
        return self.truth.t_s[self.grid]

    def sample_at(self, t_s: float) -> int:
        """Number of the first sample sent at or after this scenario time."""
        return int(np.searchsorted(self.t_s, t_s - 1e-9))


def simulate(scenario: Scenario) -> Simulated:
    """Run a scenario. The same scenario gives the same result, bit for bit."""
    truth = run_plant(scenario)
    samples, hellos, grid = board_samples(
        scenario,
        truth,
        meter_pulses(scenario, truth),
        gauge_readings(scenario, truth),
        wheel_pulses(scenario, truth),
    )
    return Simulated(scenario, truth, samples, tuple(hellos), grid)


def plain_rig(
    tips: int = 8,
    *,
    tip_gal_min_at_40_psi: float = 0.5,
    pressure_psi: float = 40.0,
    pulses_per_l: float = 450.0,
    speed_mph: float = 3.0,
    tank_gal: float | None = 50.0,
    name: str = "Simulated cart",
) -> Rig:
    """A healthy small rig, for tests and tuning: its rate is what its tips give at 40 psi."""
    tip = Tip(tip_gal_min_at_40_psi * GAL_MIN, 40.0 * PSI)
    spacing_m, speed_m_s = 0.508, speed_mph * 0.44704
    flow_m3_s = tips * tip.coefficient * (pressure_psi * PSI) ** 0.5
    gallon = GAL_MIN * 60.0
    return Rig(
        name=name,
        boom=Boom(tips, spacing_m, tip, 25.0 * PSI, 50.0 * PSI),
        work=Work(flow_m3_s / (speed_m_s * spacing_m * tips), speed_m_s),
        meter=Meter(pulses_per_l * 1e3, flow_m3_s / 15.0, flow_m3_s * 2.0),
        gauge=Gauge(100.0 * PSI),
        board=Board("/dev/null"),
        tank=None if tank_gal is None else Tank(tank_gal * gallon, 0.1 * tank_gal * gallon),
    )


def scenario_for(
    rig: Rig,
    *,
    hours: float = 1.0,
    legs: Sequence[Leg] | None = None,
    faults: Sequence[Fault] = (),
    family: Family = "demand relief",
    noise: str | Noise = "field",
    seed: int = 1,
) -> Scenario:
    """A scenario from a rig and little else; `dataclasses.replace` changes the rest.

    The supply is sized to give the rig's expected flow at its expected pressure. Without `legs`
    there are passes of 20-90 s with turns of 8-20 s for `hours`. The tank does not run out.

    Raises:
        FlowlogError: If the family or the noise level is unknown.
    """
    return Scenario(
        rig=rig,
        supply=sized_supply(family, rig.expected_flow_m3_s, rig.expected_pressure_pa),
        legs=tuple(legs) if legs is not None else varied_passes(hours * 3600.0, seed),
        faults=tuple(faults),
        noise=noise_called(noise) if isinstance(noise, str) else noise,
        seed=seed,
    )


def with_faults(scenario: Scenario, *faults: Fault) -> Scenario:
    """The same scenario with more going wrong, everything else equal to the last bit."""
    return replace(scenario, faults=(*scenario.faults, *faults))
