"""One answer: what a person wrote, and what it is in SI.

The text stays as written, since a record is what somebody said; the SI value beside it lets
programs and checks calculate.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, Literal

from flowlog.errors import FlowlogError
from flowlog.record.fields import BY_KEY, Field
from flowlog.review.words import clean
from flowlog.units import Kind, UnitError, parse

Source = Literal["typed", "file", "remembered", "measured"]
LONGEST: Final = 500

_SI: Final[dict[Kind, str]] = {
    "volume": "m3",
    "mass": "kg",
    "area": "m2",
    "speed": "m/s",
    "rate": "m3/m2",
    "mass_per_area": "kg/m2",
    "volume_per_volume": "m3/m3",
    "mass_per_volume": "kg/m3",
    "share": "m3/m3",
}
_COMPASS: Final = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE"),
    *("S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"),
)
_POINTS: Final = {"north": "N", "east": "E", "south": "S", "west": "W"}


class FieldError(FlowlogError):
    """An answer that a field cannot take, with what would be right."""


@dataclass(frozen=True, slots=True)
class Value:
    """An answer."""

    text: str
    si: float | None = None
    si_unit: str = ""
    """`m3`, `kg`, ...; empty for text. Directions in degrees from north, temperatures in K."""
    source: Source = "typed"


def value_of(key: str, text: str, source: Source = "typed") -> Value:
    """Read an answer to the field `key`.

    Raises:
        FieldError: it is none; the message begins with the field's key.
    """
    field = BY_KEY[key]
    tidy = clean(text.encode("utf-8", "replace").decode("utf-8"))
    if not tidy:
        raise FieldError(f"{key}: is empty (write for instance '{field.example}')")
    if len(tidy) > LONGEST:
        raise FieldError(f"{key}: has {len(tidy)} characters, {LONGEST} are the most")
    written, si, unit = _read(field, tidy)
    return Value(written, si, unit, source)


def _read(field: Field, text: str) -> tuple[str, float | None, str]:
    match field.shape:
        case "text":
            return text, None, ""
        case "registration":
            return _registration(field, text), None, ""
        case "yes":
            return _yes(field, text), None, ""
        case "date":
            return _date(field, text), None, ""
        case "time":
            return _time(field, text), None, ""
        case "direction":
            return _direction(field, text)
        case "temperature":
            return _temperature(field, text)
        case "amount":
            return text, *_quantity(field, text, ("volume", "mass"))
        case "label_rate":
            kinds: tuple[Kind, ...] = (
                *("rate", "mass_per_area", "volume_per_volume", "mass_per_volume", "share"),
            )
            return text, *_quantity(field, text, kinds)
        case "speed" if text.casefold() in {"calm", "0", "none"}:
            return "calm", 0.0, "m/s"
        case "speed":
            return text, *_quantity(field, text, ("speed",), zero=True)
        case "area":
            return text, *_quantity(field, text, ("area",))
        case "volume":
            return text, *_quantity(field, text, ("volume",))
        case "rate":
            return text, *_quantity(field, text, ("rate",))


def _quantity(
    field: Field, text: str, kinds: tuple[Kind, ...], *, zero: bool = False
) -> tuple[float, str]:
    first: UnitError | None = None
    for kind in kinds:
        try:
            found = parse(text, kind)
        except UnitError as error:
            first = first or error
            continue
        if found < 0 or (found == 0 and not zero):
            raise FieldError(
                f"{field.key}: '{text}' is not more than zero (write for instance "
                f"'{field.example}')"
            )
        return found, _SI[kind]
    if field.shape == "amount" and re.search(r"\d\s*oz$", text):
        raise FieldError(
            f"{field.key}: '{text}' may be a volume or a weight (write 'fl oz' for a liquid, "
            "'wt oz' for a solid)"
        )
    # The advice of the units names one kind, and an example of any size.
    words = re.sub(r"for instance '[^']*'\)$", f"for instance '{field.example}')", str(first))
    if field.shape == "amount":
        words = words.replace("a volume", "a volume or a mass")
    raise FieldError(f"{field.key}: {words}")


def _registration(field: Field, text: str) -> str:
    if text.casefold() in {"exempt", "none"}:
        return "exempt"
    plain = re.sub(r"^epa\s*(reg\.?|registration)?\s*(no\.?|number)?\s*:?\s*", "", text, flags=re.I)
    if re.search(r"\best\b", plain, re.I):
        raise FieldError(
            f"{field.key}: '{text}' is an establishment number (the registration number stands "
            f"beside 'EPA Reg. No.', for instance {field.example})"
        )
    if not re.search(r"\d", plain):
        raise FieldError(
            f"{field.key}: '{text}' has no digits (write for instance {field.example}, or 'exempt')"
        )
    return plain


def _yes(field: Field, text: str) -> str:
    if text.casefold() in {"y", "yes", "true", "x", "spot"}:
        return "yes"
    if text.casefold() in {"n", "no", "false"}:
        return "no"
    raise FieldError(f"{field.key}: '{text}' is not yes or no")


def _date(field: Field, text: str) -> str:
    try:
        found = date.fromisoformat(text)
    except ValueError:
        raise FieldError(
            f"{field.key}: '{text}' is not a date (write year-month-day, for instance "
            f"{field.example})"
        ) from None
    if not 2000 <= found.year < 2200:
        raise FieldError(f"{field.key}: '{text}' is outside of the years 2000 to 2199")
    return found.isoformat()


def _time(field: Field, text: str) -> str:
    found = re.fullmatch(
        r"(\d{1,2})(?::(\d{2})(?::\d{2})?)?\s*(?:([ap])\.?\s*m\.?)?", text.casefold()
    )
    if found and (found[2] or found[3]):
        hour, minute, half = int(found[1]), int(found[2] or 0), found[3]
        if half and 1 <= hour <= 12:
            hour = hour % 12 + (12 if half == "p" else 0)
        elif half:
            hour = 99
        if hour < 24 and minute < 60:
            return f"{hour:02d}:{minute:02d}"
    raise FieldError(
        f"{field.key}: '{text}' is not a time of day (write for instance {field.example} or "
        "2:05 pm)"
    )


def _direction(field: Field, text: str) -> tuple[str, float | None, str]:
    folded = re.sub(r"^from\s+(the\s+)?", "", text.casefold())
    if folded in {"variable", "calm", "none"}:
        return ("calm" if folded == "none" else folded), None, ""
    for word, letter in _POINTS.items():
        folded = folded.replace(word, letter)
    point = re.sub(r"[\s-]+", "", folded).upper()
    if point in _COMPASS:
        return point, 22.5 * _COMPASS.index(point), "deg"
    number = re.fullmatch(r"(\d{1,3}(?:\.\d+)?)\s*(°|deg|degrees)?", folded)
    if number and 0 <= float(number[1]) <= 360:
        degrees = float(number[1]) % 360
        return f"{degrees:g} deg", degrees, "deg"
    raise FieldError(
        f"{field.key}: '{text}' is no direction (write where it comes from, for instance SW, 225, "
        "or variable)"
    )


def _temperature(field: Field, text: str) -> tuple[str, float, str]:
    found = re.fullmatch(r"([+-]?\d+(?:\.\d+)?)\s*(?:°|deg)?\s*([cCfF])", text.replace("−", "-"))
    if found is None:
        raise FieldError(
            f"{field.key}: '{text}' is not a temperature (write for instance {field.example} or "
            "22 C)"
        )
    number, unit = float(found[1]), found[2].upper()
    celsius = number if unit == "C" else (number - 32) / 1.8
    if not -40 <= celsius <= 60:
        raise FieldError(
            f"{field.key}: '{text}' is no weather to spray in (-40 to 60 C, -40 to 140 F)"
        )
    return f"{number:g} {unit}", celsius + 273.15, "K"


def plain(value: Value) -> dict[str, Any]:
    """As JSON holds it."""
    return {
        "text": value.text,
        "si": value.si,
        "si_unit": value.si_unit or None,
        "from": value.source,
    }


def from_plain(data: dict[str, Any]) -> Value:
    return Value(data["text"], data["si"], data["si_unit"] or "", data["from"])
