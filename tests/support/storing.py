"""Made-up rigs, samples and batches for the store's tests. Numbers are invented."""

from __future__ import annotations

import numpy as np

from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.monitor.stream import TankFill
from flowlog.rig.model import Board, Boom, Gauge, Meter, Rig, Tip, Work
from flowlog.store.rows import (
    Batch,
    ClockPoint,
    EventRow,
    OutboxMessage,
    StopMark,
    StreamMark,
)
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

RIG = Rig(
    name="Cart 3",
    boom=Boom(6, 0.5, Tip(2.5e-5, 276e3), 170e3, 345e3),
    work=Work(6e-5, 1.4),
    meter=Meter(450e3, 3e-5, 5e-4),
    gauge=Gauge(700e3),
    board=Board("/dev/ttyUSB0"),
)
RIG_TEXT = '[rig]\nname = "Cart 3"\n\n[broker]\nhost = "pi"\npassword = "s3cret"  # of the shed\n'
HELLO = Hello(4, 0, 1, "1.0.2", "bench-1", "power", 100, 10, "FPV")


def board_samples(rows: int, *, first: int = 0, noise: int = 30, seed: int = 1) -> Samples:
    """A board that sprays: ticking, jittering, and wrapping its counters."""
    rng = np.random.default_rng((seed, first))
    seq = first + np.arange(rows)
    clock = 2**32 - 3_000_000 + seq * 100_000 + rng.integers(-noise, noise + 1, rows)
    pulses = 2**32 - 100 + first * 20 + np.cumsum(rng.integers(18, 23, rows))
    mean = 600 + rng.normal(0, 3, rows)
    number = rng.integers(99, 102, rows)
    columns = [
        np.full(rows, 4),
        seq,
        clock % 2**32,
        pulses % 2**32,
        (clock - rng.integers(0, 5000, rows)) % 2**32,
        mean * number,
        number,
        mean - 20 + rng.normal(0, 2, rows),
        mean + 20 + rng.normal(0, 2, rows),
        np.ones(rows),
        np.full(rows, -1),
        np.full(rows, -1),
    ]
    return Samples(np.stack([np.asarray(c).astype(np.int64) for c in columns], axis=1))


def reading(second: int, segment: int = 0) -> Reading:
    at = Position(segment, second * 10 + 9, (second + 1) * 1_000_000)
    return Reading(
        at=at,
        seconds=1.0,
        phase="spraying",
        pulses=200 + second % 3,
        volume_m3=4.4e-4,
        area_m2=4.2,
        flow_m3_s=4.4e-4,
        pressure_pa=None if second % 7 == 3 else 276e3 + second,
        pressure_min_pa=270e3,
        pressure_max_pa=281e3,
        rate_m3_m2=1.05e-4,
        speed_m_s=1.4,
        conductance_share=None,
        tank_m3=0.2 - second * 4.4e-4,
        samples=10,
        lost=0,
    )


def event(alert: str, change: str = "opened", second: int = 0) -> Event:
    at = Position(0, second * 10 + 9, (second + 1) * 1_000_000)
    return Event(
        alert=alert,
        code="tip_blocked",
        change=change,  # type: ignore[arg-type]
        at=at,
        since=Position(0, second * 10, second * 1_000_000),
        text="About one of 6 tips is blocked.",
        checks=("tips", "strainer"),
        size=1.0,
        size_low=0.7,
        size_high=1.3,
        size_unit="tip",
        details={"share": 0.83},
    )


def event_row(alert: str, change: str = "opened", second: int = 0) -> EventRow:
    said = event(alert, change, second)
    wall = 10_000_000 + second * 1_000_000
    return EventRow(said, wall, wall - 1_000_000, "monitor", f"{alert}:{change}:{second}")


def message(number: int, kind: str = "alert") -> OutboxMessage:
    return OutboxMessage(f"flowlog/1/cart-3/{kind}", b"{}", 1, False, f"{kind}-{number}")


def second_batch(route_id: int, second: int, run_id: int | None = None) -> Batch:
    """What the daemon commits in one second of spraying, and now and then a little more."""
    batch = Batch(
        route_id,
        first_ordinal=second * 10,
        samples=board_samples(10, first=second * 10),
        readings=[(reading(second), 10_000_000 + second * 1_000_000)],
    )
    if second % 60 == 0:
        batch.items.append(StreamMark(second // 60, second * 10, HELLO))
    if second % 97 == 50:
        batch.items.append(StreamMark(second // 60 + 1000, second * 10 + 5, TankFill(0.2)))
    if run_id is not None and second % 10 == 0:
        t_us = second * 1_000_000
        batch.clock.append(ClockPoint(0, t_us, 10_000_000 + t_us, t_us + 7, run_id))
    if second % 30 == 29:
        batch.events.append(event_row(f"a{second}", second=second))
        batch.outbox.append(message(second))
    if second == 0:
        batch.stops.append(StopMark("back lawn", "begin", 10_000_000, 0, 0, "stop-0"))
    return batch
