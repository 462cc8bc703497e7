"""What the pipeline says: one reading a second, and events."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

Phase = Literal["off", "settling", "spraying", "draining"]
Change = Literal["opened", "grew", "cleared", "noted"]
"""An alert is opened, may grow, and is cleared; what needs no clearing is noted."""


class Position(NamedTuple):
    """A place in the stream of samples that needs no wall clock.

    `segment` counts the board's unbroken runs within this stream, from 0: a reset of the board
    begins the next one. `seq` is the sample's number as the board sent it, `t_us` its clock,
    unwrapped, so both grow within a segment.
    """

    segment: int
    seq: int
    t_us: int


@dataclass(slots=True)
class Reading:
    """One second of spraying or standing, summarised.

    Volume and area are what was added in this second, so that any stretch of readings can be
    summed. A value that could not be measured is None, never an old one.
    """

    at: Position
    """The last sample in this second."""
    seconds: float
    """Board time that this reading covers; more than one after lost lines or a gap."""
    phase: Phase
    pulses: int
    """Meter pulses added in this second."""
    volume_m3: float
    area_m2: float
    flow_m3_s: float | None
    pressure_pa: float | None
    pressure_min_pa: float | None
    pressure_max_pa: float | None
    rate_m3_m2: float | None
    """Volume per area while the boom is open, else None."""
    speed_m_s: float | None
    conductance_share: float | None
    """Q / P^n relative to the healthy baseline: 1.0 is healthy, None while not judged."""
    tank_m3: float | None
    samples: int
    lost: int
    """Samples that the board sent and that did not arrive."""


@dataclass(frozen=True, slots=True)
class Event:
    """One change of one alert, or one thing worth noting.

    `alert` names the alert across its life: the same text in the opening, each growth and the
    clearing, and the same again when the samples are replayed.
    """

    alert: str
    code: str
    """What it is, from `flowlog.monitor.codes`."""
    change: Change
    at: Position
    """When it was said."""
    since: Position
    """Estimated onset."""
    text: str
    """One plain sentence: what, how large, against which reference."""
    checks: tuple[str, ...] = ()
    """What to look at, most likely first."""
    size: float | None = None
    """In `size_unit`; for a blocked tip the number of tips."""
    size_low: float | None = None
    size_high: float | None = None
    size_unit: str = ""
    details: dict[str, float] = field(default_factory=dict)


@dataclass(slots=True)
class Output:
    """What one call of the pipeline produced, in order."""

    readings: list[Reading] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
