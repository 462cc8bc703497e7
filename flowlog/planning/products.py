"""Products and their label rates: however a label says it, as an amount in the tank.

A label gives an amount per area (3 fl oz/1000 ft2), per volume of spray (32 fl oz/100 gal,
0.25 % v/v), or active ingredient per area, for which the strength of the product is needed:
a mass per volume for liquids (4 lb/gal), a share by weight for dry ones (80 %). Liquids count in
m3 and dry products in kg; amounts are of the undiluted product, as records want them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from flowlog.units import Kind, UnitError, number_in, parse_with_unit, show

Form = Literal["liquid", "dry"]

_RATE_KINDS: Final[tuple[tuple[Kind, Form, bool], ...]] = (
    ("rate", "liquid", True),
    ("mass_per_area", "dry", True),
    ("volume_per_volume", "liquid", False),
    ("mass_per_volume", "dry", False),
)


@dataclass(frozen=True, slots=True)
class LabelRate:
    """What the label asks for.

    Attributes:
        form: whether the product is measured by volume (m3) or by weight (kg).
        per_m2: amount on a square meter; or None.
        per_m3: amount in a cubic meter of spray, where the label gives that; or None.
        text: as the person wrote it.
        unit: of its amount, e.g. "fl oz"; empty for a percentage.
        area_unit: of its area, e.g. "1000 ft2"; empty for an amount per volume of spray.
    """

    form: Form
    per_m2: float | None
    per_m3: float | None
    text: str
    unit: str = ""
    area_unit: str = ""

    def on_area(self, spray_rate_m3_m2: float) -> float:
        """Amount on a square meter at a spray rate."""
        if self.per_m2 is not None:
            return self.per_m2
        assert self.per_m3 is not None
        return self.per_m3 * spray_rate_m3_m2

    def in_spray(self, spray_rate_m3_m2: float) -> float:
        """Amount in a cubic meter of spray at a spray rate: what the tank must hold."""
        return self.on_area(spray_rate_m3_m2) / spray_rate_m3_m2


@dataclass(frozen=True, slots=True)
class Strength:
    """Active ingredient in the product: kg a m3 of a liquid, kg a kg of a dry product."""

    form: Form
    active: float


@dataclass(frozen=True, slots=True)
class Product:
    """One product of the mix.

    Attributes:
        name: as on the label.
        rate: what the plan uses.
        unit: in which the person measures it out, e.g. "fl oz".
        maximum_per_m2: the label's most per application, in the product's own measure; or None.
        graduation: finest mark of the jug, or step of the scale, in the same measure; or None.
    """

    name: str
    rate: LabelRate
    unit: str
    maximum_per_m2: float | None = None
    graduation: float | None = None

    def show(self, amount: float, *, decimals: int | None = None) -> str:
        """An amount in the person's own unit."""
        kind: Kind = "volume" if self.rate.form == "liquid" else "mass"
        return show(amount, kind, unit=self.unit, decimals=decimals)

    def show_measured(self, amount: float) -> str:
        """An amount with as many decimals as the jug's marks have."""
        if self.graduation is None:
            return self.show(amount)
        kind: Kind = "volume" if self.rate.form == "liquid" else "mass"
        step = number_in(self.graduation, kind, self.unit)
        figures = next((d for d in range(4) if abs(round(step, d) - step) < 1e-6 * step), None)
        return self.show(amount, decimals=figures)

    def show_per_area(self, per_m2: float, area_unit: str) -> str:
        """An amount per area, e.g. "3 fl oz/1000 ft2", in the label's units where it has them."""
        kind: Kind = "rate" if self.rate.form == "liquid" else "mass_per_area"
        unit = self.rate.unit if self.rate.area_unit else self.unit
        label = f"{unit}/{self.rate.area_unit or area_unit}"
        number = number_in(per_m2, kind, label)
        # Four figures show a rounding of 0.1 %.
        return f"{number:.0f} {label}" if number >= 1000 else f"{number:.4g} {label}"


def read_label_rate(text: str) -> LabelRate:
    """Read a rate of product: per area, per volume of spray, or percent by volume.

    Raises:
        UnitError: it is none of these, or not more than nothing.
    """
    shown = " ".join(text.split())
    without_note = shown.removesuffix("v/v").strip()
    if without_note.endswith("%"):
        share = _positive(without_note, "share")[0]
        if share >= 1.0:
            raise UnitError(f"'{shown}' leaves no room for water (write for instance '0.25 %')")
        return LabelRate("liquid", None, share, shown)
    for kind, form, per_area in _RATE_KINDS:
        try:
            value, unit = _positive(without_note, kind)
        except UnitError:
            continue
        top, bottom = split_unit(unit)
        if per_area:
            return LabelRate(form, value, None, shown, top, bottom)
        return LabelRate(form, None, value, shown, top)
    _complain(without_note)
    raise AssertionError


def read_active_rate(text: str, strength: Strength, liquid_unit: str) -> LabelRate:
    """Read a mass of active ingredient per area, as the amount of product that holds it.

    Args:
        text: e.g. "2 lb/ac".
        strength: what the product holds.
        liquid_unit: in which to measure a liquid product; a dry one keeps the rate's unit.
    """
    value, unit = _positive(text, "mass_per_area")
    top, bottom = split_unit(unit)
    if strength.form == "liquid":
        top = liquid_unit
    shown = f"{' '.join(text.split())} a.i."
    return LabelRate(strength.form, value / strength.active, None, shown, top, bottom)


def read_strength(text: str, density_kg_m3: float | None = None) -> Strength:
    """Read how much active ingredient a product holds.

    Args:
        text: a mass per volume ("4 lb/gal", "360 g/L"), or a share by weight ("80 %").
        density_kg_m3: of a liquid whose strength is a share by weight; without it a share
            means a dry product.
    """
    text = " ".join(text.split())
    if "%" in text:
        share = _positive(text.replace("w/w", "").strip(), "share")[0]
        if share > 1.0:
            raise UnitError(f"'{text}' is more than all of it (write for instance '80 %')")
        if density_kg_m3 is None:
            return Strength("dry", share)
        return Strength("liquid", share * density_kg_m3)
    return Strength("liquid", _positive(text, "mass_per_volume")[0])


def split_unit(unit: str) -> tuple[str, str]:
    """Measure and area (or volume) of a unit as it was written: "fl oz", "1000 ft2"."""
    top, _, bottom = unit.replace(" per ", "/").partition("/")
    return top.strip(), bottom.strip()


def _positive(text: str, kind: Kind) -> tuple[float, str]:
    value, unit = parse_with_unit(text, kind)
    if not (math.isfinite(value) and value > 0):
        raise UnitError(f"'{text}' is not more than nothing")
    return value, unit


def _complain(text: str) -> None:
    """Say what is wrong with a rate; an ounce alone is the commonest slip."""
    words = text.casefold().replace("/", " ").split()
    if any(word.rstrip(".") in {"oz", "ounce", "ounces"} for word in words):
        raise UnitError(
            f"'{text}': an ounce of what? (write 'fl oz' for a liquid, 'wt oz' for a dry product)"
        )
    number = _number(text)
    if number is not None and number <= 0:
        raise UnitError(f"'{text}' is not more than nothing")
    raise UnitError(
        f"'{text}' is not a label rate (write for instance '3 fl oz/1000 ft2', '2 lb/ac', "
        "'32 fl oz/100 gal' or '0.25 %')"
    )


def _number(text: str) -> float | None:
    try:
        return float(text.split(maxsplit=1)[0])
    except (ValueError, IndexError):
        return None
