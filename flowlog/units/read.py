"""A person's text to SI."""

from __future__ import annotations

import math
import re
import unicodedata
from typing import Final

from flowlog.units.advice import factor_of
from flowlog.units.kinds import KINDS, Kind, KindSpec, UnitError

_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def parse(text: str, kind: Kind) -> float:
    """Read a quantity as a person writes it.

    Args:
        text: a number and a unit, e.g. "20 in", "0.5 gal/min", "65 gal/ac". A share may also be
            a bare number from 0 to 1, and a relative density a bare number.
        kind: what it must be.

    Returns:
        The value in SI: m, m2, m3, s, V, Pa, m3/s, m/s, m3/m2, pulses/m3, pulses/m; shares as
        fractions, densities relative to water, masses in kg.

    Raises:
        UnitError: the text is not such a quantity; the message says what would be right.
    """
    return parse_with_unit(text, kind)[0]


def parse_with_unit(text: str, kind: Kind) -> tuple[float, str]:
    """The same, and the unit as it was written, so that an answer can come in it.

    The unit is empty for a bare number.
    """
    spec = KINDS[kind]
    clean = _clean(text)
    text = _one_line(clean)
    number = _NUMBER.match(clean)
    if number is None:
        raise UnitError(_no_number(text, clean, spec))
    value, unit = float(number[0]), clean[number.end() :].strip()
    if not math.isfinite(value):
        raise UnitError(f"'{text}' is too large a number (write for instance '{spec.example}')")
    if unit.startswith(","):
        raise UnitError(
            f"'{text}' has a comma in its number (write a decimal point and no thousands mark, "
            f"for instance '{spec.example}')"
        )
    if not unit:
        return _bare(value, text, kind, spec), ""
    if not re.match(r"[^\W\d]|[%\"']|1,?000\b|1000", unit):
        raise UnitError(
            f"'{text}' is not one number and one unit (write for instance '{spec.example}')"
        )
    return value * factor_of(kind, unit, text, number[0]), unit


def _clean(text: str) -> str:
    """Fold what looks alike: widths and superscripts, typographic marks, runs of spaces."""
    folded = unicodedata.normalize("NFKC", text.replace("″", '"').replace("′", "'"))
    for mark in "”“":
        folded = folded.replace(mark, '"')
    return " ".join(folded.replace("’", "'").split())


def _one_line(clean: str) -> str:
    """The text as messages quote it: short, and nothing in it that moves a terminal's cursor."""
    shown = "".join(c if c.isprintable() else "?" for c in clean)
    return shown if len(shown) <= 60 else shown[:57] + "..."


def _no_number(text: str, clean: str, spec: KindSpec) -> str:
    if not clean:
        return f"the text is empty (write {spec.words}, for instance '{spec.example}')"
    if re.search(r"[0-9]", clean):
        return (
            f"'{text}' does not begin with its number "
            f"(write the number first, for instance '{spec.example}')"
        )
    return f"'{text}' is not {spec.words} (write for instance '{spec.example}')"


def _bare(value: float, text: str, kind: Kind, spec: KindSpec) -> float:
    if not spec.bare:
        raise UnitError(f"'{text}' has no unit (write {spec.words}, for instance '{spec.example}')")
    if kind == "share" and abs(value) > 1:
        raise UnitError(f"'{text}' is not a share (write '{text.strip()} %', or from 0 to 1)")
    return value
