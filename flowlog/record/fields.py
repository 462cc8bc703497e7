"""What an application record can hold, as data: each field once, whoever asks for it.

A field belongs to one product of the tank mix (`product`) or to the application as a whole.
Lines of the catalogue follow the order in which the sheet shows and asks for them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Shape = Literal[
    "text",
    "registration",
    "amount",
    "label_rate",
    "yes",
    "date",
    "time",
    "area",
    "volume",
    "rate",
    "speed",
    "direction",
    "temperature",
]
Section = Literal["product", "when", "where", "who", "how", "weather"]


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that a record can say."""

    key: str
    label: str
    section: Section
    shape: Shape
    example: str
    """What a person might write."""
    help: str = ""
    measured: bool = False
    """Whether flowlog can supply it from the route's log; a person may still say otherwise."""
    remember: bool = False
    """Whether it is the same on most days, so that it is worth keeping for the next record."""


FIELDS: Final = (
    Field("product", "Product name", "product", "text", "Sample Herbicide 4L", "as on the label"),
    Field(
        "registration",
        "EPA registration number",
        "product",
        "registration",
        "1234-56",
        "from the label, not the establishment number; 'exempt' for a product without one",
    ),
    Field(
        "amount",
        "Total amount of product",
        "product",
        "amount",
        "12.5 fl oz",
        "the undiluted product used up here, not the tank mix",
    ),
    Field("label_rate", "Rate of product", "product", "label_rate", "0.4 fl oz/1000 ft2"),
    Field("active", "Active ingredients", "product", "text", "substance A"),
    Field("strength", "Formulation and strength", "product", "text", "4 lb/gal liquid"),
    Field("restricted", "Restricted use", "product", "yes", "yes"),
    Field(
        "reentry", "Restricted-entry interval", "product", "text", "12 h", "from the label, or none"
    ),
    Field("supplier", "Supplier of the product", "product", "text", "farm supply store"),
    Field("date", "Date", "when", "date", "2026-05-28", "of the application", measured=True),
    Field("begin", "Begin", "when", "time", "14:05", "local time", measured=True),
    Field("end", "End", "when", "time", "14:50", "local time", measured=True),
    Field("site", "Crop or site treated", "where", "text", "turf, home lawn"),
    Field(
        "location",
        "Location",
        "where",
        "text",
        "12 Sample Road, north lawn",
        "an address, a field's name on a map, or coordinates",
    ),
    Field("area", "Area treated", "where", "area", "12000 ft2", measured=True),
    Field("spot", "Spot application", "where", "yes", "yes", "treated in spots only"),
    Field("target", "Target pest", "where", "text", "broadleaf weeds"),
    Field("customer", "Customer", "where", "text", "name of who ordered the work"),
    Field("customer_address", "Customer's address", "where", "text", "12 Sample Road, Sampletown"),
    Field("customer_phone", "Customer's telephone", "where", "text", "555-0100"),
    Field("applicator", "Applicator", "who", "text", "full name", remember=True),
    Field(
        "certificate",
        "Applicator's certification number",
        "who",
        "text",
        "PA-0000",
        "of the certified applicator",
        remember=True,
    ),
    Field(
        "assistants",
        "Non-certified applicators",
        "who",
        "text",
        "none",
        "full names of those who applied under supervision, or none",
        remember=True,
    ),
    Field("supervisor", "Supervised by", "who", "text", "full name", remember=True),
    Field("business", "Business", "who", "text", "name and address", remember=True),
    Field("licence", "Business licence number", "who", "text", "L-0000", remember=True),
    Field(
        "method",
        "Method of application",
        "how",
        "text",
        "ground boom, broadcast",
        remember=True,
    ),
    Field("volume", "Tank mix applied", "how", "volume", "18 gal", measured=True),
    Field("rate", "Mean rate of tank mix", "how", "rate", "1.5 gal/1000 ft2", measured=True),
    Field("tank_mix", "Tank mix made up", "how", "volume", "25 gal", "water and products together"),
    Field("wind_speed", "Wind speed", "weather", "speed", "5 mph", "'calm' is 0"),
    Field("wind_from", "Wind from", "weather", "direction", "SW", "a point of the compass"),
    Field("temperature", "Air temperature", "weather", "temperature", "72 F"),
    Field("sky", "Other weather", "weather", "text", "clear, dew on the grass"),
    Field("remarks", "Remarks", "how", "text", "north strip left out, too near the pond"),
)

BY_KEY: Final = {field.key: field for field in FIELDS}
PRODUCT_KEYS: Final = tuple(field.key for field in FIELDS if field.section == "product")
OTHER_KEYS: Final = tuple(field.key for field in FIELDS if field.section != "product")
SECTIONS: Final[dict[Section, str]] = {
    "product": "Products",
    "when": "When",
    "where": "Where",
    "who": "Who",
    "how": "How",
    "weather": "Weather",
}
