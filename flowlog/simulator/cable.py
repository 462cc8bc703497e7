"""The cable between board and computer: lines damaged, lost, cut into pieces, unplugged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flowlog.simulator.noise import generator
from flowlog.simulator.plan import FaultKind, Scenario

if TYPE_CHECKING:
    from flowlog.simulator.run import Simulated

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def _struck(scenario: Scenario, kind: FaultKind, t_s: Floats, what: str) -> Bools:
    """Which of the lines sent at `t_s` a random fault of this kind hits."""
    chance = np.zeros(len(t_s))
    for fault in scenario.of(kind):
        during = (t_s >= fault.at_s) & (t_s < fault.until_s)
        chance = np.maximum(chance, np.where(during, fault.full_size, 0.0))
    if not np.any(chance):
        return np.zeros(len(t_s), dtype=np.bool_)
    return generator(scenario.seed, f"{kind} {what}").random(len(t_s)) < chance


def unplugged(scenario: Scenario, t_s: Floats) -> Bools:
    """Whether the cable is out at each of these times."""
    out = np.zeros(len(t_s), dtype=np.bool_)
    for fault in scenario.of("cable unplugged"):
        out |= (t_s >= fault.at_s) & (t_s < fault.until_s)
    return out


def fates(scenario: Scenario, t_s: Floats, what: str) -> tuple[Bools, Bools]:
    """For lines of one sort ("samples", "hellos") sent at `t_s`: which are lost, which damaged."""
    lost = _struck(scenario, "lost lines", t_s, what) | unplugged(scenario, t_s)
    return lost, _struck(scenario, "corrupt lines", t_s, what) & ~lost


def hello_times(run: Simulated) -> Floats:
    """Scenario time of each hello: just before the sample that follows it."""
    t_s = run.t_s
    at = [min(before, len(t_s) - 1) for before, _ in run.hellos]
    return np.asarray(t_s[at] - 0.001, dtype=np.float64)


def arrives(run: Simulated) -> tuple[Bools, Bools]:
    """Which samples and which hellos arrive whole."""
    lost, damaged = fates(run.scenario, run.t_s, "samples")
    lost_hellos, damaged_hellos = fates(run.scenario, hello_times(run), "hellos")
    return ~(lost | damaged), ~(lost_hellos | damaged_hellos)


def damage(line: bytes, rng: np.random.Generator) -> bytes:
    """The line with one to three flipped bits, its line feed left whole.

    Up to three flipped bits in a line are what the checksum is certain to notice.
    """
    data = bytearray(line)
    bits = rng.choice((len(data) - 1) * 8, size=int(rng.integers(1, 4)), replace=False)
    for bit in bits.tolist():
        data[bit // 8] ^= 1 << (bit % 8)
    return bytes(data)


def pieces(chunks: Iterable[bytes], seed: int, longest: int = 64) -> Iterator[bytes]:
    """The same bytes, cut anywhere: a serial port knows no lines."""
    rng = generator(seed, "pieces")
    pending = b""
    for chunk in chunks:
        pending += chunk
        while len(pending) >= longest:
            cut = int(rng.integers(1, longest + 1))
            yield pending[:cut]
            pending = pending[cut:]
    while pending:
        cut = int(rng.integers(1, longest + 1))
        yield pending[:cut]
        pending = pending[cut:]
