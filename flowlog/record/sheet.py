"""An application record: what flowlog measured, what people said, and which set it is for.

A sheet is a value. To amend one means to make another from it; the store keeps both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any, Final, Literal

from flowlog.errors import FlowlogError
from flowlog.record.fields import BY_KEY, FIELDS, PRODUCT_KEYS, Field
from flowlog.record.forms import form_of
from flowlog.record.values import Value, from_plain, plain
from flowlog.units import Kind, Units, display_unit, number_in

VERSION: Final = 1
MOST_PRODUCTS: Final = 12

State = Literal["draft", "complete"]


class SheetError(FlowlogError):
    """A record that cannot be made or read."""


@dataclass(frozen=True, slots=True)
class AlertNote:
    """An alert of the stop, in a sentence."""

    text: str
    since_local: str | None
    open: bool
    """Nothing had cleared it when the record was made."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What the log knew of the stop or route when the sheet was made. SI; None: not measured."""

    rig: str
    units: Units
    """In which the rig's owner thinks."""
    route: int
    route_uid: str
    route_name: str | None
    route_ended: bool
    stop: int | None
    stop_name: str | None
    stops: tuple[str, ...]
    """Names or numbers of all stops that it covers."""
    begin_local: str | None
    begin_utc: str | None
    end_local: str | None
    end_utc: str | None
    clock: str
    """`none`, `corrected` or `unconfirmed`."""
    clock_sentence: str
    elapsed_s: float
    spraying_s: float
    volume_m3: float | None
    volume_share: float | None
    """Relative half-width of the interval that covers about 95 %; the next two as well."""
    area_m2: float | None
    area_share: float | None
    rate_m3_m2: float | None
    rate_share: float | None
    rate_sentence: str
    asked_rate_m3_m2: float | None
    pressure_pa: float | None
    speed_m_s: float | None
    speed_measured: bool
    effective_width_m: float
    within_10_share: float | None
    gap_s: float
    lost_samples: int
    alerts: tuple[AlertNote, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One revision's content."""

    form: str
    measured: Measured
    values: Mapping[str, Value] = field(default_factory=dict)
    products: tuple[Mapping[str, Value], ...] = ({},)

    def value(self, key: str) -> Value | None:
        """What the sheet says for a field of the application: a person's word, else the log's."""
        return self.values.get(key) or measured_value(self.measured, key)

    def with_values(self, new: Mapping[tuple[int, str], Value | None]) -> Sheet:
        """The sheet with answers put in, or taken out where the new one is None.

        Args:
            new: by (product, key); the product counts from 1, and is 0 for other fields.

        Raises:
            SheetError: there is no such field.
        """
        values = dict(self.values)
        products = [dict(product) for product in self.products]
        for (number, key), value in new.items():
            _check_place(number, key)
            while len(products) < number:
                products.append({})
            table = products[number - 1] if number else values
            if value is None:
                table.pop(key, None)
            else:
                table[key] = value
        kept = [product for product in products if product] or [{}]
        return replace(self, values=values, products=tuple(kept))

    def missing(self) -> list[tuple[int, Field]]:
        """The fields of the set that are empty, as (product or 0, field)."""
        wanted = set(form_of(self.form).fields)
        found: list[tuple[int, Field]] = []
        for entry in FIELDS:
            if entry.key not in wanted:
                continue
            if entry.section == "product":
                found += [
                    (number, entry)
                    for number, product in enumerate(self.products, 1)
                    if entry.key not in product
                ]
            elif self.value(entry.key) is None:
                found.append((0, entry))
        return found

    def missing_words(self) -> list[str]:
        """The same in words, with the numbers of the products where there are several."""
        products: dict[str, list[int]] = {}
        for number, entry in self.missing():
            products.setdefault(entry.label, []).append(number)
        if len(self.products) == 1:
            return list(products)
        return [
            label if not numbers[0] else f"{label} (product {', '.join(map(str, numbers))})"
            for label, numbers in products.items()
        ]

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        measured = asdict(self.measured)
        measured["stops"] = list(self.measured.stops)
        measured["alerts"] = [asdict(alert) for alert in self.measured.alerts]
        return {
            "version": VERSION,
            "form": self.form,
            "measured": measured,
            "values": {key: plain(value) for key, value in self.values.items()},
            "products": [
                {key: plain(value) for key, value in product.items()} for product in self.products
            ],
        }


def sheet_of(data: Mapping[str, Any]) -> Sheet:
    """The sheet that `Sheet.plain` wrote.

    Raises:
        SheetError: it is none, or of a later version.
    """
    try:
        if int(data["version"]) > VERSION:
            raise SheetError(
                f"record: version {data['version']} is of a newer flowlog (this one knows "
                f"{VERSION})"
            )
        measured = dict(data["measured"])
        measured["stops"] = tuple(measured["stops"])
        measured["alerts"] = tuple(AlertNote(**alert) for alert in measured["alerts"])
        names = {item.name for item in fields(Measured)}
        return Sheet(
            str(data["form"]),
            Measured(**{name: value for name, value in measured.items() if name in names}),
            {key: from_plain(value) for key, value in data["values"].items()},
            tuple(
                {key: from_plain(value) for key, value in product.items()}
                for product in data["products"]
            ),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise SheetError(f"record: not an application record ({error!r})") from error


def measured_value(measured: Measured, key: str) -> Value | None:
    """What the log can say for a field, if anything."""
    usable = measured.clock != "none"
    match key:
        case "date" if usable and measured.begin_local:
            return Value(measured.begin_local[:10], source="measured")
        case "begin" if usable and measured.begin_local:
            return Value(measured.begin_local[11:16], source="measured")
        case "end" if usable and measured.end_local:
            return Value(measured.end_local[11:16], source="measured")
        case "area":
            return _shown(measured, measured.area_m2, "area", "m2")
        case "volume":
            return _shown(measured, measured.volume_m3, "volume", "m3")
        case "rate":
            return _shown(measured, measured.rate_m3_m2, "rate", "m3/m2")
    return None


def area_text(area_m2: float, units: Units) -> str:
    """In the two units that labels use: `12917 ft2 (0.297 acre)`, `1200 m2 (0.12 ha)`."""
    small = display_unit("area", units)
    large = "acre" if units == "us" else "ha"
    wide = number_in(area_m2, "area", large)
    return f"{number_in(area_m2, 'area', small):.0f} {small} ({wide:.3g} {large})"


def _shown(measured: Measured, si: float | None, kind: Kind, si_unit: str) -> Value | None:
    if si is None or si <= 0:
        return None
    if kind == "area":
        return Value(area_text(si, measured.units), si, si_unit, "measured")
    unit = display_unit(kind, measured.units)
    decimals = {"volume": 1, "rate": 2 if measured.units == "us" else 0}[kind]
    return Value(f"{number_in(si, kind, unit):.{decimals}f} {unit}", si, si_unit, "measured")


def _check_place(number: int, key: str) -> None:
    if key not in BY_KEY:
        raise SheetError(f"{key}: there is no such field (flowlog sheet fields lists them)")
    if bool(number) != (key in PRODUCT_KEYS):
        raise SheetError(f"{key}: belongs to {'the application' if number else 'a product'}")
    if number > MOST_PRODUCTS:
        raise SheetError(f"{number}.{key}: {MOST_PRODUCTS} products are the most on one record")
