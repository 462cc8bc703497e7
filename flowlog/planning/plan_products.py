"""The products of a plan: from the file's tables, or from one line of a command's option."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from flowlog.planning.products import (
    LabelRate,
    Product,
    Strength,
    read_active_rate,
    read_label_rate,
    read_strength,
)
from flowlog.rig.table import Table
from flowlog.units import WATER_KG_M3, Kind, UnitError, parse_with_unit

_RATE_EXAMPLE: Final = 'rate = "3 fl oz/1000 ft2"'
_ACTIVE_EXAMPLE: Final = 'active = "2 lb/ac"'


def read_products(tables: Sequence[Table], liquid_unit: str) -> tuple[Product, ...]:
    """Read every [[product]]; faults are noted at its keys.

    Args:
        tables: one a product.
        liquid_unit: for liquids whose rate names no unit of volume ("0.25 %").
    """
    found = []
    for table in tables:
        product = _read_product(table, liquid_unit)
        if product is not None:
            found.append(product)
    return tuple(found)


def read_product_line(
    text: str, liquid_unit: str, graduations: Sequence[tuple[str, float, str]] = ()
) -> Product:
    """Read "NAME: RATE" or, by active ingredient, "NAME: RATE of STRENGTH".

    Args:
        text: e.g. "Weed killer: 3 fl oz/1000 ft2", "Powder: 2 lb/ac of 80 %".
        liquid_unit: see `read_products`.
        graduations: (form, SI value, unit) of the jug and the scale.

    Raises:
        UnitError: it is no such line.
    """
    name, colon, rest = text.partition(":")
    if not colon or not name.strip() or not rest.strip():
        raise UnitError(
            f"'{text}' is not a product (write for instance 'Weed killer: 3 fl oz/1000 ft2', or "
            "by active ingredient 'Powder: 2 lb/ac of 80 %')"
        )
    amount, of, strength = re.split(r"(\s+of\s+|$)", rest.strip(), maxsplit=1)
    if of:
        rate = read_active_rate(amount, read_strength(strength), liquid_unit)
    else:
        rate = read_label_rate(amount)
    own = next(((value, unit) for form, value, unit in graduations if form == rate.form), None)
    unit = own[1] if own else rate.unit or liquid_unit
    return Product(name.strip(), rate, unit, graduation=own[0] if own else None)


def read_graduation(text: str) -> tuple[str, float, str]:
    """Form, SI value and unit of a jug's mark ("0.5 fl oz") or a scale's step ("0.1 lb").

    Raises:
        UnitError: it is neither.
    """
    try:
        value, unit = parse_with_unit(text, "volume")
        form = "liquid"
    except UnitError:
        try:
            value, unit = parse_with_unit(text, "mass")
            form = "dry"
        except UnitError:
            raise UnitError(
                f"'{text}' is no mark of a jug or scale (write for instance '0.5 fl oz' or "
                "'0.1 lb')"
            ) from None
    if value <= 0:
        raise UnitError(f"'{text}' is not more than nothing")
    return form, value, unit


def _read_product(table: Table, liquid_unit: str) -> Product | None:
    name = table.text("name", example='name = "Weed killer"', default=None, longest=64)
    strength = _read_strength(table)
    rate = _read_rate(table, strength, liquid_unit)
    maximum = _read_maximum(table, rate, strength, liquid_unit)
    graduation, unit = _read_measure(table, rate, liquid_unit)
    table.end()
    if rate is None:
        return None
    return Product(
        name=name,
        rate=rate,
        unit=unit,
        maximum_per_m2=None if maximum is None else maximum.per_m2,
        graduation=graduation,
    )


def _read_strength(table: Table) -> Strength | None:
    density = None
    if "density" in table:
        relative = table.quantity(
            "density", "relative_density", "0.5", "2.5", example='density = "10.65 lb/gal"'
        )
        density = relative * WATER_KG_M3
    text = table.text("strength", example='strength = "4 lb/gal"')
    table.raw("density")
    if not text:
        if density is not None:
            table.fault("density", 'is needed only beside a strength by weight ("28 %")')
        return None
    try:
        return read_strength(text, density)
    except UnitError as error:
        table.fault("strength", str(error))
        return None


def _read_rate(table: Table, strength: Strength | None, liquid_unit: str) -> LabelRate | None:
    text = table.text("rate", example=_RATE_EXAMPLE)
    active = table.text("active", example=_ACTIVE_EXAMPLE)
    if "rate" in table and "active" in table:
        table.fault("active", "stands beside rate (keep only one of the two)")
        return None
    try:
        if text:
            return read_label_rate(text)
        if active and strength is not None:
            return read_active_rate(active, strength, liquid_unit)
    except UnitError as error:
        table.fault("rate" if text else "active", str(error))
        return None
    if active and "strength" not in table:
        table.fault(
            "strength",
            'missing beside active (write for instance strength = "4 lb/gal" for a liquid, '
            'strength = "80 %" for a dry product)',
        )
    if "rate" not in table and "active" not in table:
        table.fault("rate", f"missing (write for instance {_RATE_EXAMPLE}, or {_ACTIVE_EXAMPLE})")
    return None


def _read_maximum(
    table: Table, rate: LabelRate | None, strength: Strength | None, liquid_unit: str
) -> LabelRate | None:
    text = table.text("maximum", example='maximum = "4 fl oz/1000 ft2"')
    active = table.text("active_maximum", example='active_maximum = "2 lb/ac"')
    if text and active:
        table.fault("active_maximum", "stands beside maximum (keep only one of the two)")
        return None
    key = "maximum" if text else "active_maximum"
    if not text and not active:
        return None
    if active and strength is None:
        if "strength" not in table:
            table.fault(key, 'needs the strength (write for instance strength = "4 lb/gal")')
        return None
    try:
        if active and strength is not None:
            found = read_active_rate(active, strength, liquid_unit)
        else:
            found = read_label_rate(text)
    except UnitError as error:
        table.fault(key, str(error))
        return None
    if found.per_m2 is None:
        table.fault(key, f"'{found.text}' is not per area (write the label's most per application)")
        return None
    if rate is not None and rate.form != found.form:
        table.fault(
            key, f"'{found.text}' is for a {found.form} product, the rate for a {rate.form} one"
        )
        return None
    return found


def _read_measure(
    table: Table, rate: LabelRate | None, liquid_unit: str
) -> tuple[float | None, str]:
    """The jug's graduation, and the unit: as told, else the jug's, else the rate's."""
    step = table.text("graduation", example='graduation = "0.5 fl oz"')
    unit = table.text("unit", example='unit = "fl oz"')
    if rate is None:
        return None, unit
    kind: Kind = "volume" if rate.form == "liquid" else "mass"
    graduation, own = None, rate.unit or liquid_unit
    if step:
        try:
            graduation, own = parse_with_unit(step, kind)
            if graduation <= 0:
                table.fault("graduation", f"'{step}' is not more than nothing")
                graduation = None
        except UnitError as error:
            table.fault("graduation", str(error))
    if unit:
        try:
            parse_with_unit(f"1 {unit}", kind)
            own = unit
        except UnitError:
            example = "fl oz" if kind == "volume" else "lb"
            table.fault("unit", f"'{unit}' is no unit of {kind} (write for instance '{example}')")
    return graduation, own
