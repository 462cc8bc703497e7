"""The wet side over time: what truly flows, and at which pressure.

Quasi-static: at every sample the operating point is that of the steady network
(`flowlog.physics.network`), and what takes time (the boom filling when its valve opens, the
manifold bleeding when it closes) is a first-order approach to it. Whole runs are numpy arrays
with one element a sample period; element k stands for the interval that ends at `t_s[k]`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flowlog.physics.network import OperatingPoint, operating_point
from flowlog.physics.pumps import DemandPump
from flowlog.simulator.air import run_outs, void_share
from flowlog.simulator.conditions import Conditions, conditions, solve, tip_shares
from flowlog.simulator.noise import autoregressive, generator
from flowlog.simulator.plan import Scenario
from flowlog.simulator.switch import cycle

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

BLEED_TAU_S = 0.4
"""The manifold's pressure after the boom valve has closed, until the check valves shut."""


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What happened in the plant. Arrays of shape (n,), one element a sample period."""

    step_s: float
    t_s: Floats
    """End of the interval, seconds since the scenario's start."""
    spraying: Bools
    """The boom valve is open."""
    flow_m3_s: Floats
    """Liquid through the meter, mean over the interval."""
    volume_m3: Floats
    """Liquid through the meter since the start."""
    leak_up_m3_s: Floats
    """Liquid lost before the meter."""
    gauge_pa: Floats
    """At the gauge, wherever the rig has it."""
    manifold_pa: Floats
    tip_pa: Floats
    """At the tips; no flow from them below the check pressure."""
    air_share: Floats
    """Volume share of air in what passes the meter."""
    tank_m3: Floats
    """Left in the tank; NaN if the scenario has no tank."""
    tip_share: Floats
    """Shape (n, tips): each tip's flow over that of a clean new one at the same pressure."""
    tip_coefficient: float
    """Flow of a clean new tip per root of pressure, this carrier, m3/s/Pa^0.5."""
    check_pa: float
    speed_m_s: Floats
    """Ground speed; 0 while standing."""
    fills: tuple[tuple[float, float], ...]
    """Time (s) and new volume (m3) of each filling of the tank."""

    @property
    def total_volume_m3(self) -> float:
        """Liquid through the meter in the whole run."""
        return float(self.volume_m3[-1]) if len(self.volume_m3) else 0.0

    @property
    def area_m2(self) -> Floats:
        """Ground covered by one metre of width while spraying, cumulative, m2 per m."""
        return np.asarray(np.cumsum(self.speed_m_s * self.spraying) * self.step_s)

    def tip_flow_m3_s(self, tip: int) -> Floats:
        """Flow of tip 1..N over time."""
        sprays = self.spraying & (self.tip_pa >= self.check_pa)
        root = np.sqrt(np.maximum(self.tip_pa, 0.0))
        return np.where(sprays, self.tip_coefficient * self.tip_share[:, tip - 1] * root, 0.0)


@dataclass(frozen=True, slots=True)
class _Course:
    """The legs on the grid of samples, adjacent legs of one state joined."""

    begin_s: Floats
    end_s: Floats
    spraying: Bools
    first: NDArray[np.int64]
    """Index of the first sample of each stretch."""
    lengths: NDArray[np.int64]


def _course(scenario: Scenario, middle_s: Floats) -> _Course:
    ends = np.cumsum([leg.duration_s for leg in scenario.legs])
    states = np.array([leg.spraying for leg in scenario.legs], dtype=np.bool_)
    last = np.append(states[1:] != states[:-1], True)
    ends, states = ends[last], states[last]
    begins = np.append(0.0, ends[:-1])
    first = np.searchsorted(middle_s, begins)
    lengths = np.diff(np.append(first, len(middle_s)))
    return _Course(begins, ends, states, first, lengths)


def _transient(
    scenario: Scenario,
    course: _Course,
    middle_s: Floats,
    steady_pa: Floats,
    rest_pa: float,
    leak_share: Floats,
) -> Floats:
    """Pressure that rises towards `steady_pa` while open and falls to `rest_pa` while closed.

    `leak_share` is the leak behind the meter relative to the tips: with one, the check valves
    can't hold the pressure.
    """
    rise_s = generator(scenario.seed, "boom rise").uniform(*scenario.rise_s, len(course.first))
    tau = np.where(course.spraying, rise_s / np.log(100.0), BLEED_TAU_S)
    start = np.empty(len(course.first))
    pressure = rest_pa
    leak = np.broadcast_to(leak_share, len(middle_s))
    leak_at = leak[np.minimum(course.first, len(leak) - 1)]
    last = np.minimum(course.first + np.maximum(course.lengths, 1) - 1, len(middle_s) - 1)
    steady_first = steady_pa[np.minimum(course.first, len(middle_s) - 1)]
    steady_last = steady_pa[last]
    for i in range(len(start)):
        start[i] = pressure
        fade = np.exp(-(course.end_s[i] - course.begin_s[i]) / tau[i])
        if course.spraying[i]:
            pressure = steady_last[i] + (pressure - steady_first[i]) * fade
        else:
            drained = np.exp(-(course.end_s[i] - course.begin_s[i]) * leak_at[i] / BLEED_TAU_S)
            pressure = max(rest_pa * drained, pressure * fade)
    since = middle_s - np.repeat(course.begin_s, course.lengths)
    fade = np.exp(-since / np.repeat(tau, course.lengths))
    begun = np.repeat(start, course.lengths)
    rising = steady_pa + (begun - np.repeat(steady_first, course.lengths)) * fade
    resting = np.maximum(
        np.minimum(rest_pa, begun) * np.exp(-since * leak / BLEED_TAU_S), begun * fade
    )
    opened = np.repeat(course.spraying, course.lengths)
    return np.asarray(np.where(opened, np.maximum(rising, 0.0), resting), dtype=np.float64)


def _filling(scenario: Scenario, manifold_pa: Floats, step_s: float) -> Floats | float:
    """Flow into hoses that give with the rising pressure. What they give back as it falls leaves
    through the tips and passes no meter."""
    if not scenario.hose_m3_pa:
        return 0.0
    rise = np.diff(manifold_pa, prepend=manifold_pa[:1]) / step_s
    return np.asarray(scenario.hose_m3_pa * np.maximum(rise, 0.0))


def _rest_pressure(scenario: Scenario) -> float:
    return float(generator(scenario.seed, "check valves").uniform(*scenario.check_pa))


def _fills(scenario: Scenario) -> list[tuple[float, float]]:
    """Time and volume of each filling, the start included."""
    if scenario.tank_m3 is None:
        return []
    fills, at = [(0.0, scenario.tank_m3)], 0.0
    for leg in scenario.legs:
        if leg.refill and at > 0:
            fills.append((at, scenario.tank_m3))
        at += leg.duration_s
    return fills


def _tank_level(fills: list[tuple[float, float]], middle_s: Floats, drawn_m3: Floats) -> Floats:
    level = np.full(len(middle_s), np.nan)
    for at_s, volume in fills:
        first = int(np.searchsorted(middle_s, at_s))
        already = drawn_m3[first - 1] if first else 0.0
        level[first:] = np.maximum(volume - (drawn_m3[first:] - already), 0.0)
    return level


def _switched(
    scenario: Scenario, c: Conditions, point: OperatingPoint, opened: Bools, step_s: float
) -> tuple[Floats, Floats]:
    """What the cycling pressure switch makes of pressure and flow, as factors on the steady ones.

    A little above the cut-out the pump still holds its own (switches are soft, and many pumps
    pass some flow back inside); from a quarter of the way to its stop on it cycles.
    """
    n = len(opened)
    pressure, root = np.ones(n), np.ones(n)
    pump = scenario.supply.pump
    if not isinstance(pump, DemandPump):
        return pressure, root
    firm = pump.cut_out_pa + 0.25 * (pump.stop_pa - pump.cut_out_pa)
    cycles = opened & (point.pump_pa > firm)
    if np.any(cycles):
        at = np.flatnonzero(cycles)
        seen = (point.flow_m3_s[at] + point.leak_up_m3_s[at]) / np.sqrt(point.pump_pa[at])
        delivery = np.broadcast_to(c.delivery, n)[at]
        means, roots = cycle(pump, seen, delivery, step_s)
        pressure[at] = means / point.pump_pa[at]
        root[at] = roots / np.sqrt(point.pump_pa[at])
    return pressure, root


def _dead_head_pa(scenario: Scenario) -> float:
    """Pump pressure behind a closed boom valve."""
    pump = scenario.supply.pump
    point = operating_point(pump, 0.0)
    dead = float(point.pump_pa)
    return min(dead, pump.cut_out_pa) if isinstance(pump, DemandPump) else dead


def _speed(scenario: Scenario, n: int, step_s: float, opened: Bools) -> Floats:
    """Ground speed: as calibrated while spraying, a third of it in turns and between stops."""
    rng = generator(scenario.seed, "speed")
    wobble = autoregressive(rng, n, scenario.noise.speed_share, 3.0, step_s)
    speed = scenario.rig.work.speed_m_s * np.maximum(1.0 + wobble, 0.0)
    return np.where(opened, speed, speed / 3.0)


def run_plant(scenario: Scenario) -> Truth:
    """What truly happens on the wet side, for the whole scenario."""
    step_s = scenario.board.period_ms / 1000.0
    n = round(scenario.duration_s / step_s)
    t_s = np.arange(1, n + 1, dtype=np.float64) * np.float64(step_s)
    middle_s = np.asarray(t_s - 0.5 * step_s, dtype=np.float64)
    rig, noise = scenario.rig, scenario.noise
    each = rig.boom.tip.coefficient / rig.work.carrier_relative_density**0.5
    rest_pa = _rest_pressure(scenario)
    course = _course(scenario, middle_s)
    opened = np.repeat(course.spraying, course.lengths)

    shares = tip_shares(scenario, middle_s)
    c = conditions(scenario, middle_s, shares, each)
    point = solve(scenario, c, n, rest_pa)
    fills = _fills(scenario)
    faults = list(scenario.of("air", "foam", "tank empty"))
    if fills:
        wanted = np.cumsum((point.flow_m3_s + point.leak_up_m3_s) * opened) * step_s
        faults += run_outs(fills, middle_s, wanted)
    air = np.zeros(n)
    if faults:
        air = void_share(scenario, faults, middle_s, step_s)
        c.delivery = c.delivery * (1.0 - air)
        point = solve(scenario, c, n, rest_pa)

    switch_pressure, switch_root = _switched(scenario, c, point, opened, step_s)
    supply = autoregressive(
        generator(scenario.seed, "supply"), n, noise.supply_share, noise.supply_tau_s, step_s
    ) + autoregressive(
        generator(scenario.seed, "wander"), n, noise.wander_share, noise.wander_tau_s, step_s
    )
    driven = np.exp(supply) * c.pressure_factor
    pressure_factor, root_factor = driven * switch_pressure, np.sqrt(driven) * switch_root

    # With too little pressure to keep the check valves open they close and hold what they close
    # at, instead of letting the pump build up pressure behind them; only a leak still flows.
    shut = ~point.tips_open
    steady = np.where(shut, np.minimum(point.gauge_pa, rest_pa), point.gauge_pa)
    steady = np.where(shut & (c.leak_down == 0.0), rest_pa, steady)
    leak_share = c.leak_down / np.maximum(c.tips, 1e-30)
    manifold = _transient(scenario, course, middle_s, steady, rest_pa, leak_share)
    filling = _filling(scenario, manifold, step_s)
    manifold = np.where(opened & ~shut, manifold * pressure_factor, manifold)
    approach = np.sqrt(manifold / np.maximum(point.gauge_pa * pressure_factor, 1e-9))
    flow = np.where(shut, c.leak_down * np.sqrt(manifold), point.flow_m3_s * approach * root_factor)
    flow = np.where(opened, flow + filling, 0.0)
    tip_pa = np.where(
        opened, manifold * point.tip_pa / np.maximum(point.gauge_pa, 1e-9), np.minimum(manifold, 0)
    )

    if rig.gauge.place == "boom":
        gauge = manifold
    else:
        gauge = np.where(opened, point.pump_pa * pressure_factor, _dead_head_pa(scenario))
    volume = np.cumsum(flow) * step_s
    leak_up = np.asarray(point.leak_up_m3_s * root_factor)
    drawn = np.cumsum(flow + leak_up * opened) * step_s
    return Truth(
        step_s=step_s,
        t_s=t_s,
        spraying=opened,
        flow_m3_s=flow,
        volume_m3=volume,
        leak_up_m3_s=leak_up,
        gauge_pa=gauge,
        manifold_pa=manifold,
        tip_pa=tip_pa,
        air_share=np.where(opened, air, 0.0),
        tank_m3=_tank_level(fills, middle_s, drawn),
        tip_share=shares,
        tip_coefficient=each,
        check_pa=rest_pa,
        speed_m_s=_speed(scenario, n, step_s, opened),
        fills=tuple(fills),
    )
