"""Helpers: a rig's folder as the daemon would leave it, without a daemon."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from flowlog.calibrating.inuse import choose
from flowlog.monitor.outputs import Event
from flowlog.monitor.pipeline import Monitor
from flowlog.rig.reader import parse_rig
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import find_scenario, read_scenario
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, CalibrationRow, EventRow, StopMark, StreamMark
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

BEGAN_US = 1_780_000_000_000_000
"""2026-05-28, invented."""
RIG_TEXT = (resources.files("flowlog.simulator") / "scenarios" / "rig.toml").read_text("utf-8")
RIG = parse_rig(RIG_TEXT, Path("rig.toml"), {})


def event_row(event: Event, number: int, wall_us: int) -> EventRow:
    ago_us = event.at.t_us - event.since.t_us if event.at.segment == event.since.segment else 0
    return EventRow(event, wall_us, wall_us - ago_us, "monitor", f"uid:{event.alert}:{number}")


def store_scenario(
    folder: Path,
    name: str = "morning",
    *,
    marks: tuple[StopMark, ...] = (),
    ended: bool = True,
    calibrations: tuple[CalibrationRow, ...] = (),
) -> None:
    """Simulate a scenario that comes with flowlog, monitor it and store it as one route."""
    items = simulate(read_scenario(find_scenario(name))).items
    store_items(folder, items, marks, ended=ended, calibrations=calibrations)


def store_items(
    folder: Path,
    items: list[Samples | Hello],
    marks: tuple[StopMark, ...] = (),
    *,
    ended: bool = True,
    began_us: int = BEGAN_US,
    calibrations: tuple[CalibrationRow, ...] = (),
) -> None:
    recorder = Recorder.open(folder, RIG, RIG_TEXT, wall_us=began_us)
    try:
        recorder.begin_run("boot", began_us, 0)
        recorder.commit(Batch(None, calibrations=list(calibrations)))
        with Archive.open(folder) as archive:
            in_use = choose(RIG, archive.calibrations())
        route = recorder.begin_route(began_us, calibration_ids=in_use.ids)
        monitor = Monitor(in_use.rig, in_use.baseline)
        tally = recorder.tally(route.id)
        ordinal, number = tally.next_ordinal, tally.next_mark
        outputs = []
        for item in items:
            batch = Batch(route.id, first_ordinal=ordinal)
            if isinstance(item, Samples):
                batch.samples = item
                ordinal += len(item)
            else:
                batch.items = [StreamMark(number, ordinal, item)]
                number += 1
            outputs.append(monitor.feed(item))
            recorder.commit(batch)
        outputs.append(monitor.finish())
        readings = [reading for output in outputs for reading in output.readings]
        events = [event for output in outputs for event in output.events]
        recorder.commit(
            Batch(
                route.id,
                first_ordinal=ordinal,
                readings=[(reading, began_us + reading.at.t_us) for reading in readings],
                events=[
                    event_row(event, count, began_us + event.at.t_us)
                    for count, event in enumerate(events)
                ],
                stops=list(marks),
            )
        )
        if ended:
            recorder.end_route(route.id, began_us + readings[-1].at.t_us if readings else began_us)
    finally:
        recorder.close()
