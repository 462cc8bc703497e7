"""What an alert about the boom rested on, tick by tick: for `flowlog explain`, never for a rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from flowlog.monitor.outputs import Position


@dataclass(frozen=True, slots=True)
class Test:
    """One sequential test of the bank after a tick."""

    shift: float
    """Of the log conductance, that it looks for."""
    nats: float
    """Log likelihood ratio so far."""
    threshold: float
    """Nats at which it crosses, from the promised rate of false alarms."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One judged tick of settled spraying."""

    at: Position
    """The tick's last sample."""
    said: Position
    """When it was judged: a tick waits until the next shows that the boom stayed open."""
    seconds: float
    residual: float
    """Log conductance less the baseline's."""
    level: float
    """Log conductance of the baseline, Q in m3/s and P in Pa."""
    log_pressure: float
    """ln(P), P in Pa."""
    density_s: float
    """Noise density of the residual, s."""
    roughness: float
    """Noise density of this pass over the usual one."""
    tests: tuple[Test, ...]
    """Empty while a fault is open: then the tests for its way back run instead."""
    fault_level: float | None
    """Shift of the open fault."""


Watcher = Callable[[Evidence], None]
