"""A step from options or from a TOML file instead of questions.

A file holds one table a step, with the texts that a person would answer:

    [course]
    length = "150 ft"
    times = ["21.0 s", "21.3 s"]

    [catch]
    pressure = "40 psi"
    time = "21 s"
    volumes = ["64 fl oz", "64.5 fl oz", "none", "63 fl oz"]   # from the left end

    [meter]
    runs = [{ caught = "41.7 lb", pulses = 8517, time = "95 s" }]

    [gauge]
    points = [{ reference = "0 psi", code = 115.1 }, { reference = "40 psi", code = 441.0 }]

    [baseline]
    recording = "water-run.flog"

    [capped]
    recording = "capped-tip.flog"
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from flowlog.calibrating.answers import Quantity, read_temperature
from flowlog.calibrating.ask_baseline import baseline_of, run_of_recording
from flowlog.calibrating.ask_capped import capped_of
from flowlog.calibrating.feed import recording_feed
from flowlog.calibrating.measure import TICK_S, WaterRun, count_run, steady_code
from flowlog.calibrating.sprayings import sprayings_of
from flowlog.calibrating.work import Work
from flowlog.calibration.apply import Result
from flowlog.calibration.baseline import BaselineResult
from flowlog.calibration.capped import CappedResult
from flowlog.calibration.catch import CatchResult, Caught, Limits, catch
from flowlog.calibration.catch_budget import CatchErrors
from flowlog.calibration.course import CourseResult, course
from flowlog.calibration.gauge import GaugeErrors, GaugePoint, GaugeResult, gauge
from flowlog.calibration.meter import MeterResult, meter
from flowlog.calibration.meter_runs import MeterErrors, MeterRun
from flowlog.errors import FlowlogError
from flowlog.rig.faults import did_you_mean
from flowlog.rig.toml import parse_toml, read_text
from flowlog.units import Kind, parse

Data = Mapping[str, Any]


class InputError(FlowlogError):
    """Something in the options or the file, with its place and what would be right."""


def read_file(path: Path) -> dict[str, Data]:
    """The tables of a file, by step.

    Raises:
        FlowlogError: it cannot be read, or has tables that are no steps.
    """
    what = "file of a calibration"
    data = parse_toml(
        read_text(path, what, "flowlog calibrate --help #"), path, 'length = "150 ft"'
    )
    if not data:
        raise InputError(f"{path}: no step in it (one table each: {', '.join(BUILD)})")
    for step, table in data.items():
        if step not in BUILD:
            raise InputError(f"{path}: unknown table [{step}] ({did_you_mean(step, list(BUILD))})")
        if not isinstance(table, dict):
            raise InputError(f"{path}: {step} must be a table (a line [{step}])")
    return data


def build(work: Work, step: str, data: Data, place: str) -> Result:
    """The result of a step from its texts.

    Args:
        place: names the file or the command, for messages.

    Raises:
        FlowlogError: a text that is wrong, or numbers that make no result.
    """
    return BUILD[step](work, _Table(data, f"{place}: [{step}]" if place else step))


class _Table:
    """Texts of one table, each read with its place in the message."""

    def __init__(self, data: Data, place: str) -> None:
        self._data, self.place = data, place

    def known(self, *names: str) -> None:
        for name in self._data:
            if name not in names:
                raise InputError(f"{self.place}: unknown key {name} ({did_you_mean(name, names)})")

    def has(self, name: str) -> bool:
        return self._data.get(name) is not None

    def text(self, name: str) -> str:
        if not self.has(name):
            raise InputError(f"{self.place}: {name} is missing")
        return str(self._data[name])

    def rows(self, name: str) -> list[_Table]:
        found = self._data.get(name)
        if not isinstance(found, list | tuple) or not all(isinstance(one, dict) for one in found):
            raise InputError(f"{self.place}: {name} must be a list of tables, {{ ... }} each")
        return [_Table(one, f"{self.place} {name} {i}") for i, one in enumerate(found, 1)]

    def texts(self, name: str) -> list[str]:
        found = self._data.get(name)
        if isinstance(found, str) or not isinstance(found, Sequence) or not found:
            raise InputError(f'{self.place}: {name} must be a list, for instance ["...", "..."]')
        return [str(one) for one in found]

    def quantity(self, name: str, *kinds: Kind, unit: str = "", zero: bool = False) -> float:
        return float(self.read(name, self.text(name), Quantity(*kinds, unit=unit, zero=zero)))

    def maybe(self, name: str, *kinds: Kind) -> float | None:
        return self.quantity(name, *kinds) if self.has(name) else None

    def read(self, name: str, text: str, reader: Callable[[str], tuple[Any, str]]) -> Any:
        try:
            return reader(text)[0]
        except FlowlogError as fault:
            raise InputError(f"{self.place}: {name}: {fault}") from fault

    def number(self, name: str) -> float:
        try:
            return float(self.text(name))
        except ValueError:
            raise InputError(
                f"{self.place}: {name}: '{self.text(name)[:30]}' is not a number"
            ) from None

    def share(self, name: str, otherwise: float) -> float:
        if not self.has(name):
            return otherwise
        try:
            return parse(self.text(name), "share")
        except FlowlogError as fault:
            raise InputError(f"{self.place}: {name}: {fault}") from fault


def _course(work: Work, table: _Table) -> CourseResult:
    table.known("length", "times")
    width = work.rig.boom.effective_width_m
    reader = Quantity("time", unit="s")
    times = [table.read("times", text, reader) for text in table.texts("times")]
    return course(width, table.quantity("length", "length"), times)


def _catch(work: Work, table: _Table) -> CatchResult:
    table.known("pressure", "time", "volumes", "tips", "density", "jug", "limit")
    seconds = table.maybe("time", "time")
    caught: list[Caught] = []
    if table.has("volumes"):
        if seconds is None:
            raise InputError(f"{table.place}: time is missing (of each catch, for instance '30 s')")
        reader = Quantity("volume", zero=True)
        for tip, text in enumerate(table.texts("volumes"), 1):
            if text.strip().casefold() not in {"none", "-"}:
                caught.append(Caught(tip, table.read(f"tip {tip}", text, reader), seconds))
    if table.has("tips"):
        seen: set[int] = {one.tip for one in caught}
        for row in table.rows("tips"):
            row.known("tip", "volume", "time")
            tip, own = int(row.number("tip")), row.maybe("time", "time") or seconds
            if own is None:
                raise InputError(f"{row.place}: time is missing")
            volume = row.quantity("volume", "volume", zero=True)
            caught.append(Caught(tip, volume, own, anew=tip in seen))
            seen.add(tip)
    density = table.quantity("density", "relative_density") if table.has("density") else 1.0
    return catch(
        work.rig.boom, caught, course=work.course(),
        pressure_pa=table.maybe("pressure", "pressure"),
        relative_density=density,
        limits=Limits(of_mean=table.share("limit", Limits().of_mean)),
        errors=CatchErrors(jug_share=table.share("jug", CatchErrors().jug_share)),
    )  # fmt: skip


def _meter(work: Work, table: _Table) -> MeterResult:
    table.known("runs", "jug", "scales", "believe")
    runs: list[MeterRun] = []
    for row in table.rows("runs"):
        row.known("caught", "pulses", "time", "recording", "water", "flow")
        amount = Quantity("mass", "volume")
        value = row.read("caught", row.text("caught"), amount)
        if row.has("recording"):
            counted = _counted(work, Path(row.text("recording")).expanduser())
            pulses, seconds = counted
        else:
            pulses, seconds = row.number("pulses"), row.quantity("time", "time", unit="s")
        water = work.water_c
        if row.has("water"):
            water = row.read("water", row.text("water"), read_temperature)
        mass = amount.kind == "mass"
        flow = int(row.number("flow")) if row.has("flow") else None
        runs.append(
            MeterRun(pulses, seconds, None if mass else value, value if mass else None, water, flow)
        )
    usual = MeterErrors()
    return meter(
        runs, rig_meter=work.rig.meter, working_flow_m3_s=work.current().expected_flow_m3_s,
        errors=MeterErrors(
            jug_share=table.share("jug", usual.jug_share),
            scale_share=table.share("scales", usual.scale_share),
        ),
        believe=table.has("believe") and table.text("believe").casefold() in {"true", "yes"},
    )  # fmt: skip


def _counted(work: Work, path: Path) -> tuple[float, float]:
    feed = recording_feed(path)
    try:
        found = count_run(feed, work.current(), work.units, lambda _: None, lambda: False)
    finally:
        feed.close()
    work.sources["meter"] = str(path)
    return float(found["pulses"]), float(found["seconds"])


def _recorded_share(work: Work, path: Path) -> float:
    feed = recording_feed(path)
    try:
        found = steady_code(feed, work.rig, lambda _: None, lambda: False)
    finally:
        feed.close()
    work.sources["gauge"] = str(path)
    return float(found["share"])


def _gauge(work: Work, table: _Table) -> GaugeResult:
    table.known("points", "reading", "reference")
    codes = 1 << work.rig.gauge.adc_bits
    points = []
    before = 0.0
    for row in table.rows("points"):
        row.known("reference", "code")
        reference = row.quantity("reference", "pressure", zero=True)
        if row.text("code").endswith(".flog"):
            share = _recorded_share(work, Path(row.text("code")).expanduser())
        else:
            share = row.number("code") / codes
        points.append(GaugePoint(reference, share, "up" if reference >= before else "down"))
        before = reference
    usual = GaugeErrors()
    reading = table.maybe("reading", "pressure")
    return gauge(
        points, work.rig.gauge,
        errors=GaugeErrors(
            reading_pa=usual.reading_pa if reading is None else reading,
            reference_share=table.share("reference", usual.reference_share),
        ),
    )  # fmt: skip


def _baseline(work: Work, table: _Table) -> BaselineResult:
    table.known("recording", "steps", "density")
    density = table.quantity("density", "relative_density") if table.has("density") else 1.0
    if table.has("recording"):
        path = Path(table.text("recording")).expanduser()
        work.sources["baseline"] = str(path)
        return baseline_of(run_of_recording(path, work.current(), work.units), density)
    run = WaterRun([], [])
    for row in table.rows("steps"):
        row.known("pressure", "flow", "time")
        pressure, flow = row.quantity("pressure", "pressure"), row.quantity("flow", "flow")
        count = round(row.quantity("time", "time", unit="s") / TICK_S)
        # What the pipeline would see: shut, open and settling, then held.
        run.flow_m3_s += [0.0] * 4 + [flow] * (count + 8)
        run.pressure_pa += [0.0] * 4 + [pressure] * (count + 8)
    return baseline_of(run, density)


def _capped(work: Work, table: _Table) -> CappedResult:
    table.known("recording")
    path = Path(table.text("recording")).expanduser()
    work.sources["capped"] = str(path)
    return capped_of(sprayings_of(path, work.current()), work.current())


BUILD: Final[dict[str, Callable[[Work, _Table], Result]]] = {
    "course": _course, "catch": _catch, "meter": _meter, "gauge": _gauge, "baseline": _baseline,
    "capped": _capped,
}  # fmt: skip
