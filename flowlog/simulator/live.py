"""The board as something to talk to: bytes that fall due as time goes on, and an ear.

Knows no port and no clock: whoever owns them says what time it is in the scenario.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from flowlog.simulator.cable import damage, fates, hello_times
from flowlog.simulator.noise import generator
from flowlog.simulator.plan import Fault, Scenario
from flowlog.simulator.run import Simulated, simulate
from flowlog.wire.commands import CommandDecoder
from flowlog.wire.encode import encode_hello, encode_sample
from flowlog.wire.records import Alarm, HelloRequest

PATTERNS = ("off", "slow", "fast", "steady")
"""Lamp and buzzer patterns by their number on the wire."""


def lines(run: Simulated) -> Iterator[tuple[float, bytes]]:
    """What comes out of the cable: time in the scenario (s) and a line, damaged ones included."""
    t_s, hello_s = run.t_s, hello_times(run)
    lost, damaged = fates(run.scenario, t_s, "samples")
    lost_hellos, damaged_hellos = fates(run.scenario, hello_s, "hellos")
    rng = generator(run.scenario.seed, "damage")
    rows = run.samples.table.tolist()
    waiting = 0
    for number, row in enumerate(rows):
        while waiting < len(run.hellos) and run.hellos[waiting][0] <= number:
            if not lost_hellos[waiting]:
                line = encode_hello(run.hellos[waiting][1])
                hurt = damaged_hellos[waiting]
                yield float(hello_s[waiting]), damage(line, rng) if hurt else line
            waiting += 1
        if not lost[number]:
            line = encode_sample(row)
            yield float(t_s[number]), damage(line, rng) if damaged[number] else line


class LiveBoard:
    """A scenario's board, stepped by its owner.

    Args:
        scenario: What is simulated.
    """

    def __init__(self, scenario: Scenario) -> None:
        self._ear = CommandDecoder()
        self._answers: list[bytes] = []
        self._now_s = 0.0
        self._begin(scenario)

    def _begin(self, scenario: Scenario) -> None:
        self.run = simulate(scenario)
        self._lines = lines(self.run)
        self._next = next(self._lines, None)

    @property
    def now_s(self) -> float:
        """Scenario time up to which bytes were handed out."""
        return self._now_s

    @property
    def done(self) -> bool:
        """Whether everything that the board has to say was said."""
        return self._next is None

    def due(self, t_s: float) -> bytes:
        """The bytes that come between the last call and scenario time `t_s`."""
        found = self._answers if not self._unplugged(t_s) else []
        self._answers = []
        while self._next is not None and self._next[0] <= t_s + 1e-9:
            found.append(self._next[1])
            self._next = next(self._lines, None)
        self._now_s = max(self._now_s, t_s)
        return b"".join(found)

    def hear(self, data: bytes) -> list[Alarm | HelloRequest]:
        """Bytes from the computer; a request for the hello is answered with the next `due`."""
        if self._unplugged(self._now_s):
            return []
        commands = self._ear.feed(data)
        for command in commands:
            if isinstance(command, HelloRequest):
                self._answers.append(self._hello())
        return commands

    def reset(self, cause: str = "external") -> None:
        """Reset the board now, as opening the port of a board does that has such a wiring."""
        fault = Fault("board reset", self._now_s, cause=cause)
        scenario = self.run.scenario
        self._begin(replace(scenario, faults=(*scenario.faults, fault)))
        while self._next is not None and self._next[0] <= self._now_s + 1e-9:
            self._next = next(self._lines, None)

    def _unplugged(self, t_s: float) -> bool:
        return any(f.at_s <= t_s < f.until_s for f in self.run.scenario.of("cable unplugged"))

    def _hello(self) -> bytes:
        """The hello of the boot that runs now, with the number of its next sample."""
        run = self.run
        number = int(np.searchsorted(run.t_s, self._now_s + 1e-9, side="right"))
        before = [hello for at, hello in run.hellos if at <= min(number, len(run.t_s) - 1)]
        if number < len(run.samples):
            seq = int(run.samples.table[number, 1])
        else:
            seq = (int(run.samples.table[-1, 1]) + 1) % (1 << 32)
        return encode_hello(replace(before[-1], seq=seq))
