"""What is simulated: noise, faults, classes, the work they are set in, and the seeds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from math import log
from typing import Final

import numpy as np
from support.capped_check import check_of, checked

from flowlog.calibration.apply import apply
from flowlog.calibration.faults import CalibrationError
from flowlog.rig.model import Rig
from flowlog.simulator.noise import NOISES, Noise
from flowlog.simulator.plan import Fault, FaultKind, Leg, Scenario, varied_passes
from flowlog.simulator.run import plain_rig, scenario_for
from flowlog.simulator.supply import Family

TUNING_SEED: Final = 1
"""First seed of everything that a threshold or a choice was tuned on."""
JUDGING_SEED: Final = 100_001
"""First seed of everything that is judged. No threshold has seen it."""
SEEDS_BETWEEN: Final = 1000
"""N tips begin at N times this after the first seed, so that each N has noise of its own."""

TIPS: Final = (4, 6, 12)
PUMPS: Final[tuple[Family, ...]] = ("demand relief", "roller", "centrifugal")
"""One of each type, in turn by seed."""
GAMMA_H: Final = 500.0
"""Spraying hours from one false alarm to the next that is promised and matched."""
ROUTE_H: Final = 8.0
ON_SHARE: Final = 55.0 / 69.0
"""Mean part of the time with the boom open: passes of 20 to 90 s, turns of 8 to 20 s."""

FIELD: Final = NOISES["field"]


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Healthy spraying under some noise, for the count of false alarms."""

    name: str
    noise: Noise
    roughens: bool = False
    """Learnt on this noise; after the first half hour the swirl is twice as large."""


SURROUNDINGS: Final = {
    s.name: s
    for s in (
        Surroundings("nominal", FIELD),
        # Six in an hour of spraying: one that meets a closed boom does nothing.
        Surroundings("bubbles", replace(FIELD, bubbles_per_h=6.0 / ON_SHARE)),
        Surroundings("doubled", FIELD, roughens=True),
        Surroundings("rough", replace(FIELD, swirl_share=0.03)),
        Surroundings("rough passes", replace(FIELD, rough_pass_share=0.2)),
    )
}


@cache
def rig_of(tips: int) -> Rig:
    """0.5 gal/min a tip at 40 psi, 450 pulses a litre: 6 to 17 pulses a sample."""
    return plain_rig(tips, tank_gal=None)


def pump_of(seed: int) -> Family:
    return PUMPS[seed % len(PUMPS)]


CHECK: Final = (False, True, False, True, False)
"""A capped-tip check as flowlog asks for it on such rigs: the tip capped twice, in between."""


@lru_cache(maxsize=8)
def checked_rig(tips: int, seed: int) -> Rig:
    """The rig with what a check with one tip capped taught of this seed's pump.

    The check is simulated with the same noise as everything else, and judged as it is for a person.
    """
    rig = rig_of(tips)
    try:
        result = checked(check_of(rig, pump_of(seed), seed, order=CHECK, noise=FIELD))
    except CalibrationError:
        # Refused, as it would be to a person; who then sprays without.
        return rig
    return apply(rig, [result])


def healthy_route(name: str, tips: int, seed: int, hours: float = ROUTE_H) -> Scenario:
    """A route without a fault."""
    around = SURROUNDINGS[name]
    faults = [Fault("rough flow", 1800.0, size=2.0)] if around.roughens else []
    return scenario_for(
        rig_of(tips),
        hours=hours,
        faults=faults,
        family=pump_of(seed),
        noise=around.noise,
        seed=seed,
    )


@dataclass(frozen=True, slots=True)
class Case:
    """One fault, and what would be right to say of it."""

    name: str
    faults: Callable[[Scenario, float], Sequence[Fault]]
    """Of the healthy scenario and the onset (s)."""
    tips: float | None = None
    """Blocked tips, if that is what it is."""
    percent: float | None = None
    """Or by how much the boom passes more."""
    delays: bool = False
    """It stands in the table of delays."""

    def shift(self, tips: int) -> float:
        """What it does to the log conductance."""
        if self.tips is not None:
            return log(1.0 - self.tips / tips)
        if self.percent is not None:
            return log(1.0 + self.percent / 100.0)
        return 0.0


def _blocked(size: float, over_s: float = 0.0) -> Callable[[Scenario, float], list[Fault]]:
    def faults(healthy: Scenario, at_s: float) -> list[Fault]:
        whole = max(1, round(size))
        return [
            Fault("tip blocked", at_s, size=size / whole, tip=1 + number, over_s=over_s)
            for number in range(whole)
        ]

    return faults


def _plain(kind: FaultKind, size: float | None = None) -> Callable[[Scenario, float], list[Fault]]:
    def faults(healthy: Scenario, at_s: float) -> list[Fault]:
        tip = 1 if kind == "tip missing" else None
        return [Fault(kind, at_s, size=size, tip=tip)]

    return faults


def _leak(share: float) -> Callable[[Scenario, float], list[Fault]]:
    return lambda healthy, at_s: [
        Fault("leak after meter", at_s, size=share * healthy.rig.boom.tips)
    ]


def _strainer(healthy: Scenario, at_s: float) -> list[Fault]:
    """Over a minute the line loses half of the working pressure more, whatever the supply."""
    rig = healthy.rig
    clean = healthy.supply.line_loss * rig.expected_flow_m3_s**2
    size = 1.0 + 0.5 * rig.expected_pressure_pa / clean
    return [Fault("strainer", at_s, size=size, over_s=60.0)]


CASES: Final = {
    case.name: case
    for case in (
        Case("one tip", _blocked(1.0), tips=1.0, delays=True),
        Case("half a tip", _blocked(0.5), tips=0.5, delays=True),
        Case("a quarter", _blocked(0.25), tips=0.25, delays=True),
        Case("two tips", _blocked(2.0), tips=2.0, delays=True),
        Case("leak +10 %", _leak(0.1), percent=10.0, delays=True),
        Case("one tip over 5 s", _blocked(1.0, 5.0), tips=1.0, delays=True),
        Case("missing tip", _plain("tip missing")),
        Case("strainer", _strainer),
        Case("regulator -10 %", _plain("regulator", -0.1)),
        Case("regulator +10 %", _plain("regulator", 0.1)),
        Case("meter low 12 %", _plain("meter stuck", 0.12)),
        Case("meter silent", _plain("meter open")),
        Case("meter doubles", _plain("meter double")),
        Case("gauge open", _plain("gauge open")),
        Case("gauge short", _plain("gauge short")),
        Case("tank empty", _plain("tank empty")),
        Case("foam", _plain("foam")),
    )
}

WARM_S: Final = 560.0
"""Passes before the onset: some 440 s of settled spraying, more than the baseline asks for."""
AFTER_S: Final = 400.0
"""Boom-on time in which a fault has to be found."""


UNCHECKED: Final = "settled, unchecked"
"""Placement of trials on a rig that never had a capped-tip check."""


@dataclass(frozen=True, slots=True)
class Trial:
    scenario: Scenario
    at_s: float
    """Onset."""


def trial(placement: str, tips: int, seed: int) -> Trial:
    """Healthy work and a moment for a fault.

    Placement "settled": 15 to 35 s after the boom opened for a long pass. "random": at any moment
    with the boom open in passes of 20 to 90 s.
    """
    rng = np.random.default_rng([seed, 2024])
    if placement in ("settled", UNCHECKED):
        legs = varied_passes(WARM_S, seed)
        at_s = sum(leg.duration_s for leg in legs) + rng.uniform(15.0, 35.0)
        legs = (*legs, Leg(AFTER_S + 60.0, True))
    else:
        legs = varied_passes(WARM_S + 80.0 + 1.4 * AFTER_S, seed)
        at_s = _boom_open(legs, WARM_S, rng.uniform(0.0, 60.0))
    return Trial(
        scenario_for(
            rig_of(tips),
            legs=legs,
            family=pump_of(seed),
            noise=SURROUNDINGS["nominal"].noise,
            seed=seed,
        ),
        at_s,
    )


def _boom_open(legs: Sequence[Leg], from_s: float, open_s: float) -> float:
    """The moment at which the boom has been open for `open_s` after `from_s`."""
    at = 0.0
    for leg in legs:
        end = at + leg.duration_s
        usable = end - max(at, from_s)
        if leg.spraying and usable > 0.0:
            if usable > open_s:
                return max(at, from_s) + open_s
            open_s -= usable
        at = end
    raise ValueError("the work is over before")


def pressure_route(tips: int, seed: int, hours: float = ROUTE_H) -> tuple[Scenario, int]:
    """A route with the regulator moved by 10 % up or down, at once or over 2 to 20 s, and back.

    Returns:
        The scenario and the number of steps and ramps in it, the ways back not counted.
    """
    rng = np.random.default_rng([seed, 11])
    faults, at_s = [], 600.0
    while at_s < hours * 3600.0 - 200.0:
        over_s = float(rng.choice((0.0, rng.uniform(2.0, 20.0))))
        until_s = at_s + rng.uniform(60.0, 120.0)
        size = float(rng.choice((-0.1, 0.1)))
        faults.append(Fault("regulator", at_s, size=size, over_s=over_s, until_s=until_s))
        at_s = until_s + rng.uniform(30.0, 120.0)
    scenario = scenario_for(
        rig_of(tips), hours=hours, faults=faults, family=pump_of(seed), noise=FIELD, seed=seed
    )
    return scenario, len(faults)


def density_route(tips: int, seed: int) -> tuple[Scenario, float, float]:
    """Half an hour, a new fill that is 10 % denser or lighter, half an hour more.

    Returns:
        The scenario, the moment of the fill (the boom is shut), and the change of density.
    """
    share = 0.1 if seed % 2 else -0.1
    before, after = varied_passes(1800.0, seed), varied_passes(1800.0, seed + 7)
    at_s = sum(leg.duration_s for leg in before) + 60.0
    scenario = scenario_for(
        rig_of(tips),
        legs=(*before, Leg(120.0, False), *after),
        faults=[Fault("density", at_s, size=share)],
        family=pump_of(seed),
        noise=FIELD,
        seed=seed,
    )
    return scenario, at_s, share


START_CASES: Final[dict[str, tuple[Fault, ...]]] = {
    "healthy": (),
    "one tip blocked": (Fault("tip blocked", 0.0, size=1.0, tip=1),),
    "half a tip blocked": (Fault("tip blocked", 0.0, size=0.5, tip=1),),
    "mix 10 % denser": (Fault("density", 0.0, size=0.1),),
    "mix 10 % lighter": (Fault("density", 0.0, size=-0.1),),
}
"""What a route may begin with, when the boom's baseline was calibrated before."""


def start_route(name: str, tips: int, seed: int) -> Scenario:
    """Half an hour of passes with something wrong from the first moment."""
    return scenario_for(
        rig_of(tips),
        hours=0.5,
        faults=START_CASES[name],
        family=pump_of(seed),
        noise=FIELD,
        seed=seed,
    )
