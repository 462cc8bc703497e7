"""A season in one store: as many routes and readings as asked for, made in seconds.

Readings are written past the recorder, which takes one at a time; routes, events and marks go
through it. Figures are invented: passes of a boom with noise, a drift and now and then an alert.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.outputs import Event, Position
from flowlog.rig.reader import parse_rig
from flowlog.simulator.scenario import find_scenario
from flowlog.store.engine import database
from flowlog.store.reading import ROUTE_STEP
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, EventRow, StopMark

RIG_FILE: Final = find_scenario("healthy").with_name("rig.toml")
RIG_TEXT: Final = RIG_FILE.read_text("utf-8")
RIG: Final = parse_rig(RIG_TEXT, RIG_FILE, {})
BEGAN_US: Final = 1_775_030_400_000_000
DAY_US: Final = 86_400_000_000
_PASS_S: Final = 75
_PAUSE_S: Final = 15
_STOP_S: Final = 1500
"""A stop of passes, then as far as the next lawn."""
_WAY_S: Final = 400


def day_of_readings(seconds: int, seed: int) -> dict[str, NDArray[Any]]:
    """Columns of so many readings, one a second, as the monitor writes them."""
    rng = np.random.default_rng(seed)
    second = np.arange(seconds)
    at_stop = second % (_STOP_S + _WAY_S) < _STOP_S
    in_pass = second % (_PASS_S + _PAUSE_S)
    open_ = at_stop & (in_pass < _PASS_S)
    settled = open_ & (in_pass >= 3)
    rate = RIG.work.rate_m3_m2 * (1 + rng.normal(0, 0.02, seconds) + 0.03 * np.sin(second / 4000))
    speed = RIG.work.speed_m_s
    area = np.where(open_, speed * RIG.boom.effective_width_m, 0.0)
    volume = rate * area
    pressure = RIG.expected_pressure_pa * (1 + rng.normal(0, 0.02, seconds))
    left = 0.19 - np.cumsum(volume) % 0.18
    none = np.nan
    return {
        "segment": np.zeros(seconds, np.int64),
        "seq": second * 10 + 9,
        "t_us": (second + 1) * 1_000_000,
        "seconds": np.ones(seconds),
        "phase": np.where(settled, "spraying", np.where(open_, "settling", "off")),
        "pulses": np.round(volume * 450e3).astype(np.int64),
        "volume_m3": volume,
        "area_m2": area,
        "flow_m3_s": volume,
        "pressure_pa": np.where(open_, pressure, 2e3),
        "pressure_min_pa": np.where(open_, pressure * 0.97, 1e3),
        "pressure_max_pa": np.where(open_, pressure * 1.03, 3e3),
        "rate_m3_m2": np.where(open_, rate, none),
        "speed_m_s": np.where(open_, speed, none),
        "conductance_share": np.where(settled, 1 + rng.normal(0, 0.01, seconds), none),
        "tank_m3": left,
        "samples": np.full(seconds, 10),
        "lost": np.zeros(seconds, np.int64),
    }


def season(folder: Path, routes: int, readings: int, last_day: int = 36_000) -> None:
    """Fill a new store: `routes` routes with `readings` readings together.

    Args:
        last_day: readings of the newest route, which is left open.
    """
    others = (readings - last_day) // max(1, routes - 1)
    recorder = Recorder.open(folder, RIG, RIG_TEXT, wall_us=BEGAN_US)
    try:
        run = recorder.begin_run("boot", BEGAN_US, 0)
        for number in range(routes):
            began_us = BEGAN_US + number * DAY_US
            seconds = last_day if number == routes - 1 else others
            route = recorder.begin_route(began_us)
            recorder.commit(
                Batch(
                    route.id, events=_events(began_us, route.uid), stops=_marks(began_us, route.uid)
                )
            )
            _fill(folder, route.id, run, began_us, day_of_readings(seconds, number))
            if number < routes - 1:
                recorder.end_route(route.id, began_us + seconds * 1_000_000)
    finally:
        recorder.close()


def _fill(
    folder: Path, route_id: int, run: int, began_us: int, columns: dict[str, NDArray[Any]]
) -> None:
    count = len(columns["seq"])
    rows = {
        "id": route_id * ROUTE_STEP + np.arange(count),
        "route_id": np.full(count, route_id),
        "run_id": np.full(count, run),
        "wall_us": began_us + columns["t_us"],
        **columns,
    }
    lists = [_without_nan(column) for column in rows.values()]
    places = ", ".join("?" * len(rows))
    with closing(sqlite3.connect(database(folder))) as db, db:
        db.execute("PRAGMA synchronous = OFF")
        db.executemany(
            f"INSERT INTO readings ({', '.join(rows)}) VALUES ({places})",
            zip(*lists, strict=True),
        )


def _without_nan(column: NDArray[Any]) -> list[Any]:
    values: list[Any] = column.tolist()
    if column.dtype.kind == "f":
        for place in np.flatnonzero(np.isnan(column)):
            values[place] = None
    return values


def _events(began_us: int, uid: str) -> list[EventRow]:
    found = []
    for number in range(6):
        since = Position(0, 4000 + 40_000 * number, (400 + 4000 * number) * 1_000_000)
        for step, change in enumerate(("opened", "cleared")):
            at = Position(
                0, since.seq + 200 + 300 * step, since.t_us + (20 + 30 * step) * 1_000_000
            )
            event = Event(
                f"rate_low.{number}", "rate_low", change, at, since, "Rate 12 % low.", size=0.12
            )
            found.append(
                EventRow(
                    event,
                    began_us + at.t_us,
                    began_us + since.t_us,
                    "monitor",
                    f"{uid}:{number}:{step}",
                )
            )
    return found


def _marks(began_us: int, uid: str) -> list[StopMark]:
    return [
        StopMark(
            f"Mill Lane {n}", "begin", began_us + t, 0, t, f"{uid}-{n}", 900.0 if n % 2 else None
        )
        for n, t in enumerate(range(1_000_000, 15_000_000_000, (_STOP_S + _WAY_S) * 1_000_000))
    ]
