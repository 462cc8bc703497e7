"""Whether link, data, store and broker are fresh, stale or absent: decided here, nowhere else.

The status message, the service manager's line, the log and the daemon's own alerts all show
what `assess` says of the same facts.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Any, Final, Literal

State = Literal["fresh", "stale", "absent", "unused"]
"""fresh: works now. stale: worked lately, what is shown is old. absent: not there.
unused: the rig has none."""

FRESH_US: Final = 2_500_000
"""A board sends ten samples a second: without one for so long, the last is old."""
ABSENT_US: Final = 10_000_000


@dataclass(slots=True)
class Facts:
    """What the loops know; each field is written by one of them. Times are monotonic us."""

    started_us: int
    port: str = ""
    port_open: bool = False
    port_us: int = 0
    """When it was opened."""
    port_fault: str = ""
    bytes_us: int | None = None
    """When anything came over the wire."""
    sample_us: int | None = None
    """When a sample came that could be read."""
    store_us: int | None = None
    """When the writer last had everything in the store."""
    store_patience_us: int = 5_000_000
    """After so long without a commit the writer is late; more than the commit interval."""
    store_fault: str = ""
    store_held: int = 0
    """Samples that wait in memory for the store."""
    store_dropped: int = 0
    disk_low: bool = False
    broker_used: bool = False
    broker_connected: bool = False
    broker_fault: str = ""
    broker_waiting: int = 0
    """Messages in the outbox."""
    raw_deleted: deque[str] = field(default_factory=deque)
    """What the writer has to say of raw samples that were kept long enough; the pipeline's thread
    takes it out."""


@dataclass(frozen=True, slots=True)
class Part:
    state: State
    detail: str
    """A clause for a person, in lower case."""


@dataclass(frozen=True, slots=True)
class Health:
    link: Part
    data: Part
    store: Part
    broker: Part

    def sentence(self) -> str:
        """One line for the service manager."""
        parts = [self.data.detail]
        if self.link.state == "absent":
            parts = [self.link.detail]
        if self.store.state != "fresh":
            parts.append(self.store.detail)
        if self.broker.state in ("stale", "absent"):
            parts.append(self.broker.detail)
        text = "; ".join(parts)
        return text[:1].upper() + text[1:] + "."

    def as_dict(self) -> dict[str, Any]:
        """For the status message: state and detail of each part."""
        return {
            name: {"state": part.state, "detail": part.detail}
            for name, part in (
                ("link", self.link),
                ("data", self.data),
                ("store", self.store),
                ("broker", self.broker),
            )
        }


def assess(facts: Facts, now_us: int) -> Health:
    """Judge the facts at one moment."""
    return Health(_link(facts, now_us), _data(facts, now_us), _store(facts, now_us), _broker(facts))


def _age(since_us: int | None, now_us: int) -> int | None:
    return None if since_us is None else now_us - since_us


def _span(us: int) -> str:
    seconds = us // 1_000_000
    if seconds < 120:
        return f"{seconds} s"
    return f"{seconds // 60} min" if seconds < 7200 else f"{seconds // 3600} h"


def _link(facts: Facts, now_us: int) -> Part:
    if not facts.port_open:
        return Part("absent", facts.port_fault or f"port {facts.port} is not open")
    if now_us - max(facts.port_us, facts.bytes_us or 0) > FRESH_US:
        return Part("stale", f"port {facts.port} is open and silent")
    return Part("fresh", f"port {facts.port} is open")


def _data(facts: Facts, now_us: int) -> Part:
    age = _age(facts.sample_us, now_us)
    if age is None:
        return Part("absent", "no sample from the board yet")
    if age <= FRESH_US:
        return Part("fresh", "samples arrive")
    state: State = "stale" if age <= ABSENT_US else "absent"
    return Part(state, f"last sample {_span(age)} ago")


def _store(facts: Facts, now_us: int) -> Part:
    held = f", {facts.store_held} samples wait in memory" if facts.store_held else ""
    if facts.store_fault:
        age = now_us - (facts.started_us if facts.store_us is None else facts.store_us)
        state: State = "stale" if age <= 60_000_000 else "absent"
        return Part(state, f"nothing written for {_span(age)} ({facts.store_fault}){held}")
    age_or_none = _age(facts.store_us, now_us)
    if age_or_none is not None and age_or_none > facts.store_patience_us:
        return Part("stale", f"the writer is {_span(age_or_none)} behind{held}")
    if facts.disk_low:
        return Part("stale", "disk almost full, only events are kept")
    return Part("fresh", "readings are written")


def _broker(facts: Facts) -> Part:
    if not facts.broker_used:
        return Part("unused", "no broker in the rig file")
    waiting = f", {facts.broker_waiting} messages wait" if facts.broker_waiting else ""
    if facts.broker_connected:
        return Part("fresh", f"broker connected{waiting}")
    why = f": {facts.broker_fault}" if facts.broker_fault else ""
    return Part("absent", f"broker away{why}{waiting}")
