"""The rig file (TOML) to a `Rig` in SI units.

`flowlog rig --new FILE` writes an example that explains every key. A person mends a file in
fewer rounds when all its faults are told at once, so reading never stops at the first one
(except when the file is no TOML at all).
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from flowlog.rig import sections
from flowlog.rig.faults import Faults, did_you_mean
from flowlog.rig.model import Rig
from flowlog.rig.table import Table
from flowlog.rig.toml import parse_toml, read_text

TABLES: Final = (
    "rig",
    "boom",
    "work",
    "tank",
    "meter",
    "gauge",
    "wheel",
    "board",
    "broker",
    "page",
    "thresholds",
)
_OPTIONAL: Final = frozenset({"tank", "wheel", "broker", "page", "thresholds"})


def read_rig(path: str | Path, environ: Mapping[str, str] | None = None) -> Rig:
    """Read and check a rig file.

    Args:
        path: the TOML file.
        environ: where FLOWLOG_BROKER_USER and FLOWLOG_BROKER_PASSWORD are looked up; the
            process's environment by default. They win over what the file says.

    Raises:
        RigFileError: the file cannot be read or used; carries every fault, none with a password.
    """
    where = Path(path)
    return parse_rig(read_text(where), where, os.environ if environ is None else environ)


def parse_rig(text: str, where: Path, environ: Mapping[str, str]) -> Rig:
    """The same for the text of a rig file in hand; `where` names it and anchors its paths."""
    faults = Faults(str(where), text)
    data = parse_toml(text, where)
    tables = _tables(data, faults)
    name, units, data_folder = sections.read_general(tables["rig"])
    thresholds = sections.read_thresholds(tables["thresholds"])
    rig = Rig(
        name=name,
        units=units,
        data_folder=data_folder,
        boom=sections.read_boom(tables["boom"]),
        work=sections.read_work(tables["work"]),
        tank=sections.read_tank(tables["tank"]) if "tank" in data else None,
        meter=sections.read_meter(tables["meter"]),
        gauge=sections.read_gauge(tables["gauge"]),
        wheel=sections.read_wheel(tables["wheel"]) if "wheel" in data else None,
        board=sections.read_board(tables["board"]),
        broker=(
            sections.read_broker(tables["broker"], where.parent, environ)
            if "broker" in data
            else None
        ),
        thresholds=thresholds,
        page=sections.read_page(tables["page"]),
    )
    faults.raise_any()
    return rig


def _tables(data: dict[str, Any], faults: Faults) -> dict[str, Table]:
    """Every known table; one that is missing or no table is an unheard one, and noted."""
    tables = {}
    for name in TABLES:
        found = data.get(name)
        own = faults
        if not isinstance(found, dict):
            if found is not None:
                faults.add((name,), f"must be a table (begin it with a line [{name}])")
            elif name not in _OPTIONAL:
                faults.add((name,), f"this table is missing (begin it with a line [{name}])")
            own, found = Faults(faults.file, faults.text), {}
        tables[name] = Table(own, (name,), found)
    for name in data:
        if name not in TABLES:
            faults.add((name,), f"unknown table ({did_you_mean(name, TABLES)})")
    return tables
