"""Scenario files (TOML): a rig, its pump, a route of stops, and what goes wrong when.

    [scenario]              rig = "rig.toml" (relative to the file), seed, noise, name?
    [pump]                  family, and what differs from the family's usual shape
    [tank]                  start = "50 gal" (without it nothing runs out)
    [[stop]]                name, passes, spray = "60 s", pause = "12 s", travel = "2 min", refill
    [[fault]]               at = "6 min", kind = "tip blocked", tip = 3, size, over, until, cause
    [board] [meter] [gauge] what the electronics are like, all optional

Everything wrong in a file is told at once, in the same style as for rig files.
"""

from __future__ import annotations

import math
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any, Final

from flowlog.errors import FlowlogError
from flowlog.rig.faults import Faults, RigFileError, did_you_mean
from flowlog.rig.model import Rig
from flowlog.rig.reader import read_rig
from flowlog.rig.table import Table
from flowlog.simulator.noise import NOISES
from flowlog.simulator.plan import (
    BoardPlan,
    GaugePlan,
    Leg,
    MeterPlan,
    Scenario,
)
from flowlog.simulator.scenario_fault import read_fault
from flowlog.simulator.scenario_pump import read_pump

TABLES: Final = ("scenario", "pump", "tank", "board", "meter", "gauge", "stop", "fault")
_LONGEST_S: Final = 48 * 3600.0
_LARGEST_BYTES: Final = 256 * 1024


class ScenarioFileError(FlowlogError):
    """A scenario file that cannot be used.

    Attributes:
        faults: one line each, e.g. `dawn.toml:14: fault[2].tip: 9 is outside 1 to 8`.
    """

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


def shipped() -> list[str]:
    """Names of the scenarios that come with flowlog."""
    folder = resources.files("flowlog.simulator") / "scenarios"
    names = (item.name for item in folder.iterdir())
    return sorted(n.removesuffix(".toml") for n in names if n.endswith(".toml") and n != "rig.toml")


def find_scenario(name: str) -> Path:
    """A scenario by its path, or by the name of one that comes with flowlog.

    Raises:
        ScenarioFileError: there is neither.
    """
    path = Path(name)
    if path.is_file():
        return path
    if name in shipped():
        return Path(str(resources.files("flowlog.simulator") / "scenarios" / f"{name}.toml"))
    near = did_you_mean(name, shipped())
    raise ScenarioFileError([f"{name}: there is no such file, and no scenario called so ({near})"])


def read_scenario(path: str | Path) -> Scenario:
    """Read and check a scenario file.

    Raises:
        ScenarioFileError: it cannot be read or used; carries every fault of it and of its rig.
    """
    where = Path(path)
    text = _read_text(where)
    faults = Faults(str(where), text)
    data = _parse_toml(text, where)
    for key in data:
        if key not in TABLES:
            faults.add((key,), f"unknown table ({did_you_mean(key, TABLES)})")
    rig_faults: list[str] = []
    general = _table(data, faults, "scenario", needed=True)
    name = general.text("name", example='name = "morning"', default=where.stem, longest=64)
    seed = general.whole("seed", 0, 2**31, example="seed = 7", default=1)
    noise = general.choice("noise", tuple(NOISES), default="field")
    rig = _read_rig(general, where, rig_faults)
    general.end()
    supply = read_pump(_table(data, faults, "pump"), rig)
    board, meter, gauge = (
        _read_board(_table(data, faults, "board"), rig),
        _read_meter(_table(data, faults, "meter")),
        _read_gauge(_table(data, faults, "gauge"), rig),
    )
    tank = _read_tank(_table(data, faults, "tank"), "tank" in data)
    legs = [leg for stop in _tables(data, faults, "stop") for leg in _read_stop(stop)]
    if "stop" not in data:
        faults.add(("stop",), "there is no stop (begin one with a line [[stop]])")
    total_s = sum(leg.duration_s for leg in legs)
    if total_s > _LONGEST_S:
        faults.add(("stop",), f"the route lasts {total_s / 3600:.0f} h (at most 48 h)")
    wrong = [read_fault(table, rig, total_s) for table in _tables(data, faults, "fault")]
    told = [*_told(faults), *rig_faults]
    if told or rig is None or supply is None:
        raise ScenarioFileError(told)
    return Scenario(
        rig=rig,
        supply=supply,
        legs=tuple(legs),
        faults=tuple(fault for fault in wrong if fault is not None),
        noise=NOISES[noise],
        seed=seed,
        board=board,
        meter=meter,
        gauge=gauge,
        tank_m3=tank,
        name=name,
    )


def _told(faults: Faults) -> list[str]:
    """The faults of the file in the order of its lines."""
    try:
        faults.raise_any()
    except RigFileError as error:
        return list(error.faults)
    return []


def _read_rig(table: Table, where: Path, told: list[str]) -> Rig | None:
    given = table.text("rig", example='rig = "rig.toml"', default=None, longest=1000)
    if not given:
        return None
    try:
        return read_rig(where.parent / given, environ={})
    except RigFileError as error:
        told.extend(error.faults)
        return None


def _read_tank(table: Table, given: bool) -> float | None:
    if not given:
        return None
    start = table.quantity("start", "volume", "0.1 gal", "5000 gal", example='start = "50 gal"')
    table.end()
    return start


def _read_board(table: Table, rig: Rig | None) -> BoardPlan:
    usual = BoardPlan()
    plan = BoardPlan(
        boot=table.whole("boot", 0, 65535, example="boot = 12", default=usual.boot),
        adc_bits=table.whole("adc_bits", 8, 16, example="adc_bits = 10", default=usual.adc_bits),
        valve=table.flag("valve", default=usual.valve),
        wheel=table.flag("wheel", default=rig is not None and rig.wheel is not None),
        crystal_ppm=table.number(
            "crystal_ppm", -10000, 10000, example="crystal_ppm = 50", default=0.0
        ),
    )
    if plan.wheel and rig is not None and rig.wheel is None:
        table.fault("wheel", "the rig file has no [wheel] (add one there, or leave the line out)")
    table.end()
    return plan


def _read_meter(table: Table) -> MeterPlan:
    error = table.number("error", -0.5, 0.5, example="error = 0.02", default=0.0)
    lag = table.quantity("lag", "time", "0 s", "2 s", example='lag = "0.2 s"', default=math.nan)
    drag = table.quantity(
        "drag", "flow", "0 L/min", "10 L/min", example='drag = "0.1 L/min"', default=0.0
    )
    table.end()
    return MeterPlan(error, None if math.isnan(lag) else lag, drag)


def _read_gauge(table: Table, rig: Rig | None) -> GaugePlan:
    offset = table.quantity(
        "offset", "pressure", "-50 psi", "50 psi", example='offset = "0.5 psi"', default=0.0
    )
    span = table.number("span_error", -0.5, 0.5, example="span_error = 0.01", default=0.0)
    table.end()
    return GaugePlan(offset / rig.gauge.span_pa if rig else 0.0, span)


def _read_stop(table: Table) -> list[Leg]:
    name = table.text("name", example='name = "Front lawn"', default=None, longest=80)
    count = table.whole("passes", 1, 1000, example="passes = 6", default=1)
    spray = table.quantity("spray", "time", "1 s", "4 h", example='spray = "60 s"')
    pause = table.quantity("pause", "time", "0 s", "1 h", example='pause = "12 s"', default=12.0)
    travel = table.quantity(
        "travel", "time", "0 s", "12 h", example='travel = "2 min"', default=5.0
    )
    refill = table.flag("refill", default=False)
    table.end()
    if math.isnan(spray + pause + travel):
        return []
    legs = [Leg(travel, False, None, refill)]
    for number in range(count):
        legs.append(Leg(spray, True, name))
        if pause and number + 1 < count:
            legs.append(Leg(pause, False, name))
    return [*legs, Leg(pause, False)] if pause else legs


def _table(data: dict[str, Any], faults: Faults, name: str, *, needed: bool = False) -> Table:
    found = data.get(name, {})
    if not isinstance(found, dict):
        faults.add((name,), f"must be a table (begin it with a line [{name}])")
        return Table(Faults(faults.file, faults.text), (name,), {})
    if needed and name not in data:
        faults.add((name,), f"this table is missing (begin it with a line [{name}])")
        return Table(Faults(faults.file, faults.text), (name,), {})
    return Table(faults, (name,), found)


def _tables(data: dict[str, Any], faults: Faults, name: str) -> list[Table]:
    found = data.get(name, [])
    if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
        faults.add((name,), f"must be an array of tables (begin each with a line [[{name}]])")
        return []
    return [Table(faults, (name, place), item) for place, item in enumerate(found)]


def _read_text(where: Path) -> str:
    def fault(what: str, line: int | None = None) -> ScenarioFileError:
        return ScenarioFileError([f"{where}{'' if line is None else f':{line}'}: {what}"])

    try:
        raw = where.read_bytes()
    except FileNotFoundError:
        raise fault("there is no such file") from None
    except IsADirectoryError:
        raise fault("is a folder (give the scenario file itself)") from None
    except OSError as error:
        raise fault(f"cannot be read: {error.strerror}") from None
    if len(raw) > _LARGEST_BYTES:
        raise fault("is larger than 256 kB (give the scenario file itself)")
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise fault("is not UTF-8 (save the file as UTF-8)", line) from None


def _parse_toml(text: str, where: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise ScenarioFileError([f"{where}: is not TOML: {error}"]) from None
