"""What a wrong unit was probably meant to be."""

from __future__ import annotations

import difflib
from typing import Final

from flowlog.units.kinds import KINDS, Kind, KindSpec, UnitError
from flowlog.units.known import NAME, known_factor, registry, resolve
from flowlog.units.spelling import PLAIN_NAMES, WORDS, split_unit

_OUNCES: Final = {"volume": "fl oz", "mass": "wt oz"}


def factor_of(kind: Kind, unit: str, text: str, number: str) -> float:
    factor = known_factor(kind, unit)
    if factor is None:
        raise UnitError(wrong_unit(kind, unit, text, number))
    return factor


def wrong_unit(kind: Kind, unit: str, text: str, number: str) -> str:
    spec = KINDS[kind]
    for other, other_spec in KINDS.items():
        if other != kind and known_factor(other, unit) is not None:
            return (
                f"'{text}' is {other_spec.words}, not {spec.words} "
                f"(write for instance '{spec.example}')"
            )
    better = _nearest(spec, unit)
    if better is not None:
        return f"'{text}' is not {spec.words} (did you mean '{number} {better}'?)"
    return f"'{text}' is not {spec.words} (write for instance '{spec.example}')"


def _nearest(spec: KindSpec, unit: str) -> str | None:
    """The unit of this kind that was probably meant."""
    wanted = [spec.top] if spec.bottom is None else [spec.top, spec.bottom]
    parts = split_unit(unit)
    if len(parts) != len(wanted):
        return _nearest_word(spec, unit)
    found = [_nearest_part(part, dim) for part, dim in zip(parts, wanted, strict=True)]
    if None in found:
        return None
    return "/".join(part for part in found if part is not None)


def _nearest_word(spec: KindSpec, unit: str) -> str | None:
    words = [word for word in WORDS if NAME.fullmatch(word)]
    for word in difflib.get_close_matches(unit.casefold(), words, n=3, cutoff=0.6):
        parts = [resolve(part) for part in WORDS[word].split("/")]
        if [part[1] for part in parts if part is not None] == [spec.top, spec.bottom]:
            return word
    return None


def _nearest_part(part: str, dimension: str) -> str | None:
    if dimension in _OUNCES and part in {"oz", "ounce", "ounces"}:
        return _OUNCES[dimension]
    names = {}
    for name in registry():
        resolved = resolve(name)
        if resolved is not None and resolved[1] == dimension:
            names[name] = resolved[0]
    close = difflib.get_close_matches(part.casefold(), names, n=1, cutoff=0.6)
    if not close:
        return None
    own = names[close[0]]
    return PLAIN_NAMES.get(own, own)
