"""Simulated boards under the check, in simulated time: the check's own steps, no waiting."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flowlog.simulator.live import LiveBoard
from flowlog.simulator.plan import Scenario
from flowlog.wire.conformance.exercise import steps
from flowlog.wire.conformance.heard import Piece, Sent
from flowlog.wire.conformance.judge import Report, judge

TICK_S = 0.02

Wire = Callable[[float, bytes], bytes]
"""What a broken firmware makes of the bytes that a right one sends at this time."""
Ear = Callable[[Any, float, bytes], None]
"""What a broken firmware makes of the bytes that it hears: it may reset or silence the board."""


class CheckedBoard:
    """A board in simulated time, with room for things to be wrong with it."""

    def __init__(self, scenario: Scenario, latency_s: float = 0.003) -> None:
        self.live = LiveBoard(scenario)
        self.latency_s = latency_s
        self.silent_until_s = 0.0
        self.extra = b""
        """Bytes to send with the next ones."""

    def check(
        self,
        listen_s: float = 12.0,
        wire: Wire | None = None,
        ear: Ear | None = None,
        begins_s: float = 0.0,
        host_pace: float = 1.0,
    ) -> Report:
        pieces, sent = self.exchange(listen_s, wire, ear, begins_s, host_pace)
        return judge(pieces, sent)

    def exchange(
        self,
        listen_s: float = 12.0,
        wire: Wire | None = None,
        ear: Ear | None = None,
        begins_s: float = 0.0,
        host_pace: float = 1.0,
    ) -> tuple[list[Piece], list[Sent]]:
        """What a host hears and says; `host_pace` is the host's clock against the scenario's."""
        self.live.due(begins_s)
        plan, ends_s = steps(listen_s)
        pieces: list[Piece] = []
        sent: list[Sent] = []
        now_s = 0.0
        while now_s < ends_s:
            now_s += TICK_S
            while plan and plan[0].at_s <= now_s:
                step = plan.pop(0)
                if step.kind is not None:
                    sent.append(Sent(now_s * host_pace, step.kind))
                if ear is None:
                    self.live.hear(step.data)
                else:
                    ear(self, begins_s + now_s, step.data)
            data = self.live.due(begins_s + now_s)
            if wire is not None:
                data = wire(begins_s + now_s, data)
            if begins_s + now_s < self.silent_until_s:
                data = b""
            data, self.extra = self.extra + data, b""
            if data:
                pieces.append(((now_s + self.latency_s) * host_pace, data))
        pieces.append((now_s * host_pace, b""))
        return pieces, sent
