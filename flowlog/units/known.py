"""Which units there are (`units.txt`, read by pint) and what one of each is in SI."""

from __future__ import annotations

import functools
import re
from importlib import resources
from typing import TYPE_CHECKING, Final

from flowlog.units.kinds import DIMENSIONS, KINDS, WATER_KG_M3, Kind
from flowlog.units.spelling import split_unit

if TYPE_CHECKING:
    import pint

NAME: Final = re.compile(r"[a-z_][a-z0-9_]*")


@functools.lru_cache(maxsize=512)
def known_factor(kind: Kind, unit: str) -> float | None:
    """SI value of one `unit`, or None if it is no unit of this kind."""
    spec = KINDS[kind]
    parts = [resolve(part) for part in split_unit(unit)]
    wanted = [spec.top] if spec.bottom is None else [spec.top, spec.bottom]
    if len(parts) != len(wanted):
        return None
    factor = 1.0
    for place, (part, dimension) in enumerate(zip(parts, wanted, strict=True)):
        if part is None or part[1] != dimension:
            return None
        size = registry().Quantity(1.0, part[0]).to_base_units().magnitude
        factor = factor * size if place == 0 else factor / size
    return factor / WATER_KG_M3 if kind == "relative_density" else factor


@functools.lru_cache(maxsize=512)
def resolve(name: str) -> tuple[str, str] | None:
    """The unit's own name and its dimension, or None if there is no such unit."""
    if NAME.fullmatch(name) is None or name not in set(registry()):
        return None
    own = str(registry().parse_units(name))
    shape = str(registry().get_dimensionality(name))
    return own, next(key for key, wanted in DIMENSIONS.items() if wanted == shape)


@functools.cache
def registry() -> pint.UnitRegistry[float]:
    # pint takes a tenth of a second to import: only a command that reads units pays for it.
    # No cache folder: pint's cache is pickle files, and one torn by a power cut ends the start.
    import pint

    lines = (resources.files("flowlog.units") / "units.txt").read_text("utf-8").splitlines()
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(lines, cache_folder=None)
    return registry
