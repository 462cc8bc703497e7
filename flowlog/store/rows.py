"""What goes into the store and what comes out of it, as plain records.

Wall times are UTC microseconds since 1970 (`wall_us`). Order never depends on them: they may be
corrected afterwards (`Recorder.shift_wall`), while ordinals, segments and board times stay.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.outputs import Event, Reading
from flowlog.monitor.stream import TankFill
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

Source = Literal["monitor", "daemon"]
StopKind = Literal["begin", "end", "name"]


@dataclass(frozen=True, slots=True)
class StreamMark:
    """Something in a route's stream that is not a sample."""

    number: int
    """Counts these marks within the route: 0, 1, 2, ... It is the key that makes a second commit
    of the same mark harmless, so it must stay the same when a batch is tried again."""
    ordinal: int
    """Ordinal of the sample before which it stands."""
    item: Hello | TankFill


@dataclass(frozen=True, slots=True)
class EventRow:
    """An event and when it was said, by the wall clock as known at present."""

    event: Event
    wall_us: int
    since_wall_us: int
    source: Source
    uid: str
    """Unique in the store and the same after a replay, for instance `<route uid>:<alert>:<n>`."""


@dataclass(frozen=True, slots=True)
class ClockPoint:
    """One observation of the board's clock beside the host's clocks."""

    segment: int
    t_us: int
    wall_us: int
    monotonic_us: int
    run_id: int


@dataclass(frozen=True, slots=True)
class StopMark:
    """The operator's mark in the route: a stop begins, ends, or gets a name."""

    name: str | None
    kind: StopKind
    wall_us: int
    segment: int
    t_us: int
    uid: str
    area_m2: float | None = None
    """The stop's area, where the operator knows it."""


@dataclass(frozen=True, slots=True)
class SeenRow:
    """Somebody at the rig knows of an alert."""

    uid: str
    """Unique in the store: the same word given again is passed over."""
    route_uid: str
    alert: str
    """`Event.alert`."""
    wall_us: int


@dataclass(frozen=True, slots=True)
class OutboxMessage:
    """A message to be published once at least, however long the broker is away."""

    topic: str
    payload: bytes
    qos: int
    retain: bool
    key: str
    """Unique for ever: a key that was acknowledged is not taken a second time."""


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """A message waiting in the outbox. Ids only grow and are never used again."""

    id: int
    topic: str
    payload: bytes
    qos: int
    retain: bool
    key: str


@dataclass(frozen=True, slots=True)
class RecordRow:
    """One revision of an application record. It is only ever added."""

    uid: str
    """Unique in the store: the same revision committed again is passed over."""
    record_uid: str
    """The same in all revisions of a record."""
    route_uid: str
    stop_number: int | None
    """Counts the stops of the route from 1; None for the whole route."""
    made_wall_us: int
    made_by: str
    reason: str
    """Why it was amended; empty for the first revision."""
    form: str
    """The set of fields that it was checked against."""
    state: str
    supersedes: str | None
    """`uid` of the revision that its author had before them; None for the first."""
    fields: dict[str, Any]
    """Plain data as JSON holds it."""


@dataclass(frozen=True, slots=True)
class StoredRecord:
    """A revision as the store holds it."""

    row: RecordRow
    number: int
    """Counts the records of the store from 1, in the order of their first revisions."""
    revision: int
    """Counts the revisions of the record from 1, in the order in which the store took them."""
    route_id: int | None
    """None: the store does not know the route."""


@dataclass(frozen=True, slots=True)
class CalibrationRow:
    """One result of a calibration, as JSON holds it. It is only ever added."""

    uid: str
    """Unique in the store: the same calibration given again is passed over."""
    kind: str
    made_wall_us: int
    made_by: str
    values: dict[str, Any]
    evidence: dict[str, Any]
    """What it was found from, and whatever else was noted (water temperature, remarks)."""
    uncertainty: dict[str, Any]


@dataclass(frozen=True, slots=True)
class StoredCalibration:
    """A calibration as the store holds it."""

    id: int
    """Grows in the order in which the store took them; the newest of a kind has the largest."""
    row: CalibrationRow


@dataclass(frozen=True, slots=True)
class CorrectionRow:
    """What a person says about a route afterwards. It is only ever added."""

    uid: str
    """Unique in the store: the same correction given again is passed over."""
    route_uid: str
    turn: int
    """One more than the largest turn among the route's corrections that its author knew. The order
    in which corrections hold is that of (turn, uid): no clock and no postman changes it."""
    kind: str
    made_wall_us: int
    made_by: str
    reason: str
    """May be empty."""
    body: dict[str, Any]
    """Plain data as JSON holds it; what it may hold depends on the kind."""


@dataclass(slots=True)
class Batch:
    """Everything that one commit makes durable, all of it or nothing.

    `route_id` may be None if the batch holds nothing that belongs to a route (daemon events
    outside of a route, outbox messages and acknowledgements).
    """

    route_id: int | None
    first_ordinal: int = 0
    """Ordinal of the first of `samples`; the others follow without a hole."""
    samples: Samples = field(default_factory=lambda: Samples.of([]))
    items: list[StreamMark] = field(default_factory=list)
    readings: list[tuple[Reading, int]] = field(default_factory=list)
    """Readings with their `wall_us`."""
    events: list[EventRow] = field(default_factory=list)
    clock: list[ClockPoint] = field(default_factory=list)
    stops: list[StopMark] = field(default_factory=list)
    outbox: list[OutboxMessage] = field(default_factory=list)
    acknowledged: list[int] = field(default_factory=list)
    """Ids of outbox rows that the broker has taken."""
    records: list[RecordRow] = field(default_factory=list)
    """Revisions of application records, of any route."""
    calibrations: list[CalibrationRow] = field(default_factory=list)
    """Calibrations of the recorder's rig."""
    corrections: list[CorrectionRow] = field(default_factory=list)
    """Corrections of any route."""
    seen: list[SeenRow] = field(default_factory=list)
    """Alerts of any route that somebody knows of."""


@dataclass(frozen=True, slots=True)
class RouteRow:
    id: int
    uid: str
    name: str | None
    began_wall_us: int
    ended_wall_us: int | None
    rig_sha256: str
    """The rig file under which the route began; see `Archive.rig_file`."""


@dataclass(frozen=True, slots=True)
class RigRow:
    """The rig, and the newest text of its rig file (passwords blanked)."""

    id: int
    slug: str
    name: str
    units: str
    sha256: str
    text: str
    seen_wall_us: int


@dataclass(frozen=True, slots=True)
class RunRow:
    """One life of the daemon."""

    id: int
    host_boot: str
    began_wall_us: int
    began_monotonic_us: int
    ended_wall_us: int | None


@dataclass(frozen=True, slots=True)
class Tally:
    """Where a route's stored stream ends: the numbers that the next batch goes on from."""

    next_ordinal: int
    next_mark: int


@dataclass(frozen=True, slots=True)
class LatestRow:
    """The newest reading of all routes."""

    route: RouteRow
    reading: Reading
    wall_us: int


@dataclass(frozen=True, slots=True)
class TankRow:
    """What a rig's tank held at the end of all that is stored."""

    volume_m3: float
    sprayed_wall_us: int | None
    """When something was last sprayed; None if never, or not since somebody filled the tank."""


ReadingColumns = Mapping[str, NDArray[np.float64] | NDArray[np.int64] | NDArray[np.str_]]
"""Readings as columns of equal length, SI units, NaN where nothing was measured.

int64: segment, seq, t_us, wall_us, pulses, samples, lost. str: phase. float64: seconds,
volume_m3, area_m2, flow_m3_s, pressure_pa, pressure_min_pa, pressure_max_pa, rate_m3_m2,
speed_m_s, conductance_share, tank_m3.
"""
