"""What happens on the emulated bench in the recordings that are kept of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from support.emulated_board import EmulatedBoard, pin
from support.plant_on_pins import Driven, put_on_pins

from flowlog.simulator.plan import Fault, Scenario, passes
from flowlog.simulator.scenario import find_scenario, read_scenario


@dataclass(frozen=True)
class Scene:
    """`drive` puts it on a board's pins."""

    name: str
    notes: str
    until_s: float
    drive: Callable[[EmulatedBoard], None]


def work(spray_s: float, *faults: Fault, count: int = 1) -> Scenario:
    """The shipped healthy rig, spraying."""
    return dataclasses.replace(
        read_scenario(find_scenario("healthy")),
        legs=passes(count, spray_s, 10.0, "Stop"),
        faults=faults,
    )


def noise_between_pulses(board: EmulatedBoard, driven: Driven, begin_s: float, end_s: float) -> int:
    """Bursts of 20 kHz, 2.5 ms long, in the quiet half of each pulse. Returns their number."""
    hit = (driven.falls_s > begin_s) & (driven.falls_s < end_s)
    begins = (driven.falls_s + driven.low_s)[hit] + 0.5e-3
    board.pulses(pin("METER"), (begins[:, None] + np.arange(50) / 20e3).ravel(), 25e-6)
    return len(begins)


def _clogged(board: EmulatedBoard) -> None:
    put_on_pins(board, work(60.0, Fault("tip blocked", 100.0, tip=3), count=2))


def _noisy(board: EmulatedBoard) -> None:
    driven = put_on_pins(board, work(120.0), stuck_s=(85.0, 100.0))
    noise_between_pulses(board, driven, 40.0, 70.0)


def _resets(board: EmulatedBoard) -> None:
    put_on_pins(board, work(120.0))
    board.reset("brownout", 50.0025, held_s=0.3)  # in the middle of a record
    board.jam(80.0)  # the watchdog ends it
    rng = np.random.default_rng(1)
    board.send(rng.integers(0, 256, 20_000).tolist(), 100.0)


SCENES = (
    Scene("board-clogged-tip", "emulated bench: tip 3 blocked at 100 s", 145.0, _clogged),
    Scene(
        "board-noisy-wire",
        "emulated bench: 20 kHz bursts on the meter's wire 40-70 s, wire on ground 85-100 s",
        135.0,
        _noisy,
    ),
    Scene(
        "board-resets",
        "emulated bench: brown-out in mid-record at 50 s, main loop jammed at 80 s, garbage from "
        "the computer from 100 s on",
        135.0,
        _resets,
    ),
)


def rest(board: EmulatedBoard) -> None:
    """Before anything happens: nothing turns, the boom is shut, the gauge shows nothing."""
    for name, level in (("METER", 1), ("WHEEL", 1), ("VALVE", 0)):
        board.level(pin(name), 0.0, level)
    board.volts(0, 0.0, 0.5)
