"""The board: counters, clock and resets between the sensors and the wire."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flowlog.simulator.noise import generator
from flowlog.simulator.plan import BoardPlan, Scenario
from flowlog.simulator.plant import Truth
from flowlog.simulator.sensors import Pulses, Readings
from flowlog.wire.records import HIGHEST_BOOT, PROTOCOL, Hello
from flowlog.wire.samples import ABSENT, COUNTER_MODULUS, FIELDS, Samples

Ints = NDArray[np.int64]

HELLO_EVERY_S = 60.0
LOOP_US = 60
"""A sample is late by up to this much, as the board's loop comes round."""


@dataclass(frozen=True, slots=True)
class Boot:
    """One run of the board, from power or reset to the next."""

    number: int
    """Boot count as sent."""
    at_s: float
    """When its clock began."""
    until_s: float
    """When it ended."""
    cause: str
    first: int
    """Index of its first sample in the scenario's grid."""
    last: int
    """One past its last."""


def boots(scenario: Scenario, truth: Truth) -> list[Boot]:
    """The board's runs in this scenario."""
    n, step_s = len(truth.t_s), truth.step_s
    resets = sorted(scenario.of("board reset"), key=lambda fault: fault.at_s)
    begins = [0.0, *(fault.at_s + fault.full_size for fault in resets)]
    ends = [*(fault.at_s for fault in resets), np.inf]
    causes = ["power", *(fault.cause for fault in resets)]
    found = []
    for i, (begin, end, cause) in enumerate(zip(begins, ends, causes, strict=True)):
        # The first sample is due one period after the clock began.
        first = int(np.ceil(begin / step_s - 1e-9))
        last = n if np.isinf(end) else min(n, int(end / step_s))
        number = (scenario.board.boot - 1 + i) % HIGHEST_BOOT + 1 if scenario.board.boot else 0
        found.append(Boot(number, begin, end, cause, min(first, n), max(last, min(first, n))))
    return found


def _counted(pulses: Pulses, boot: Boot, clock_us: Ints, board_us: _Clock) -> tuple[Ints, Ints]:
    """Counts since the boot began and clock of the last edge (0 before the first)."""
    part = slice(boot.first, boot.last)
    before = _count_at(pulses, boot)
    count = pulses.count[part] - before
    edge = board_us.of(pulses.edge_s[part])
    return count, np.where(count > 0, np.minimum(edge, clock_us), 0)


def _count_at(pulses: Pulses, boot: Boot) -> int:
    """Pulses that had come when the boot began (those of its first, short period are its own)."""
    index = boot.first - 1
    return int(pulses.count[index]) if index >= 0 else 0


@dataclass(frozen=True, slots=True)
class _Clock:
    """The board's clock: its start, its error, its tick."""

    at_s: float
    ppm: float
    tick_us: int

    def of(self, t_s: NDArray[np.float64]) -> Ints:
        exact = (t_s - self.at_s) * (1e6 * (1.0 + 1e-6 * self.ppm))
        ticks = np.floor(exact / self.tick_us + 1e-6).astype(np.int64)
        return ticks * self.tick_us


def board_samples(
    scenario: Scenario, truth: Truth, meter: Pulses, gauge: Readings, wheel: Pulses
) -> tuple[Samples, list[tuple[int, Hello]], NDArray[np.int64]]:
    """All that the board says, but for answers to requests.

    Returns:
        The samples; each hello with the number of samples that stand before it; and for each
        sample its index in the arrays of the truth.
    """
    plan = _fitted(scenario)
    n = len(truth.t_s)
    late_us = generator(scenario.seed, "loop").integers(0, LOOP_US // plan.tick_us, n)
    tables, hellos, grid = [], [], []
    said = 0
    for i, boot in enumerate(boots(scenario, truth)):
        part = slice(boot.first, boot.last)
        size = boot.last - boot.first
        clock = _Clock(boot.at_s, plan.crystal_ppm, plan.tick_us)
        offset = (plan.start_pulses, plan.start_clock_us, plan.start_seq) if i == 0 else (0, 0, 0)
        table = np.full((size, len(FIELDS)), ABSENT, dtype=np.int64)
        exact_us = clock.of(truth.t_s[part])
        clock_us = exact_us + late_us[part] * plan.tick_us
        seq = offset[2] + np.arange(size)
        table[:, 0] = boot.number
        table[:, 1] = seq
        table[:, 2] = offset[1] + clock_us
        if plan.meter:
            count, edge = _counted(meter, boot, exact_us, clock)
            table[:, 3], table[:, 4] = count + offset[0], edge + offset[1]
        else:
            table[:, 3], table[:, 4] = 0, 0
        if plan.gauge:
            table[:, 5], table[:, 6] = gauge.total[part], gauge.number[part]
            table[:, 7], table[:, 8] = gauge.lowest[part], gauge.highest[part]
        else:
            table[:, 5:9] = (0, plan.readings_per_sample, 0, 0)
        if plan.valve:
            table[:, 9] = truth.spraying[part]
        if plan.wheel:
            turns, edge = _counted(wheel, boot, exact_us, clock)
            table[:, 10], table[:, 11] = turns, edge + offset[1]
        table[:, 1:5] %= COUNTER_MODULUS
        table[:, 10:12] = np.where(table[:, 10:12] >= 0, table[:, 10:12] % COUNTER_MODULUS, ABSENT)
        every = round(HELLO_EVERY_S / truth.step_s)
        hellos += [
            (said + k, _hello(scenario, boot, int(offset[2] + k))) for k in range(0, size, every)
        ]
        tables.append(table)
        grid.append(np.arange(boot.first, boot.last))
        said += size
    return Samples(np.concatenate(tables)), hellos, np.concatenate(grid)


def _fitted(scenario: Scenario) -> BoardPlan:
    """The board with what the rig has: a wheel input without a wheel counts for none."""
    plan = scenario.board
    return replace(plan, wheel=plan.wheel and scenario.rig.wheel is not None)


def _hello(scenario: Scenario, boot: Boot, seq: int) -> Hello:
    plan = _fitted(scenario)
    return Hello(
        boot=boot.number,
        seq=seq % COUNTER_MODULUS,
        protocol=PROTOCOL,
        firmware=plan.firmware,
        board=plan.name,
        reset=boot.cause,
        period_ms=plan.period_ms,
        adc_bits=plan.adc_bits,
        channels=plan.channels,
    )


def in_order(samples: Samples, hellos: list[tuple[int, Hello]]) -> Iterator[Samples | Hello]:
    """Samples and hellos as they follow one another on the wire."""
    at = 0
    for before, hello in hellos:
        if before > at:
            yield samples[at:before]
            at = before
        yield hello
    if at < len(samples):
        yield samples[at:]
