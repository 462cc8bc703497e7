"""Helpers: a calibrated rig's folder with a route, names and an application record. Invented."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from stored import BEGAN_US, RIG, RIG_TEXT, store_scenario

from flowlog.calibrating.rows import Noted, row_of
from flowlog.calibration.course import course
from flowlog.calibration.gauge import GaugePoint, gauge
from flowlog.calibration.meter import meter
from flowlog.calibration.meter_runs import MeterRun
from flowlog.record.measure import measure
from flowlog.record.sheet import Sheet
from flowlog.record.values import value_of
from flowlog.review.load import load_route
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, CalibrationRow, RecordRow, StopMark

PSI = 6894.757293168
GAL = 0.003785411784
MADE_US = BEGAN_US + 86_400_000_000
ANSWERS = {
    "product": "Sample Herbicide",
    "registration": "1234-56",
    "amount": "12.5 fl oz",
    "site": "turf, home lawn",
    "location": "12 Sample Road, north lawn",
    "applicator": "A. Sample",
    "certificate": "PA-0000",
    "wind_speed": "5 mph",
    "wind_from": "SW",
    "temperature": "72 F",
}


def calibrations() -> tuple[CalibrationRow, ...]:
    """Course, meter and gauge of the scenario's rig, a week before the route."""
    speed = RIG.work.speed_m_s
    results = (
        course(RIG.boom.effective_width_m, 75 * 0.3048, [75 * 0.3048 / speed] * 3),
        meter(
            [
                MeterRun(round(RIG.meter.pulses_per_m3 * 5 * GAL), seconds, volume_m3=5 * GAL)
                for seconds in (75.0, 75.5, 74.6)
            ],
            rig_meter=RIG.meter,
        ),
        gauge(
            [GaugePoint(0.0, 0.1), GaugePoint(30 * PSI, 0.34), GaugePoint(60 * PSI, 0.58)],
            RIG.gauge,
        ),
    )
    noted = Noted("Ann", 18.0)
    week_us = 7 * 86_400_000_000
    return tuple(row_of(one, RIG, noted, (), BEGAN_US - week_us) for one in results)


def names(*named: str) -> tuple[StopMark, ...]:
    """A name for each of the morning's stops."""
    seconds = (120, 500, 800)
    return tuple(
        StopMark(name, "name", BEGAN_US, 0, at * 1_000_000, f"mark-{at}")
        for name, at in zip(named, seconds, strict=False)
    )


def store_morning(
    folder: Path,
    *,
    named: tuple[str, ...] = ("Park, north lawn", "Mill Lane 9"),
    calibrated: bool = True,
    ended: bool = True,
) -> None:
    """The scenario `morning`: three stops, in the second one a tip clogs."""
    store_scenario(
        folder,
        marks=names(*named),
        calibrations=calibrations() if calibrated else (),
        ended=ended,
    )


def add_record(
    folder: Path,
    stop: int | None = None,
    answers: Mapping[str, str] = ANSWERS,
    uid: str = "record-1",
    form: str = "private",
) -> None:
    """An application record of the newest route or of one of its stops."""
    with Archive.open(folder) as archive:
        measured = measure(load_route(archive, "last"), stop)
    of_product = ("product", "registration", "amount")
    new = {(int(key in of_product), key): value_of(key, text) for key, text in answers.items()}
    sheet = Sheet(form, measured).with_values(new)
    row = RecordRow(
        uid=uid,
        record_uid=uid,
        route_uid=measured.route_uid,
        stop_number=stop,
        made_wall_us=MADE_US,
        made_by="A. Sample",
        reason="",
        form=form,
        state="draft" if sheet.missing() else "complete",
        supersedes=None,
        fields=sheet.plain(),
    )
    recorder = Recorder.open(folder, RIG, RIG_TEXT, wall_us=MADE_US)
    try:
        recorder.commit(Batch(None, records=[row]))
    finally:
        recorder.close()
