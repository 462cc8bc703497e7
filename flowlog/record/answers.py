"""Answers from TOML files, from `key=value` words, and those remembered for next time.

A file of answers:

    form = "commercial"
    site = "turf, home lawn"
    wind_speed = "5 mph"

    [[product]]
    product = "Sample Herbicide 4L"
    registration = "1234-56"
    amount = "12.5 fl oz"
"""

from __future__ import annotations

import datetime
import difflib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import tomlkit

from flowlog.record.fields import BY_KEY, FIELDS, OTHER_KEYS, PRODUCT_KEYS
from flowlog.record.forms import FormError, form_of
from flowlog.record.sheet import MOST_PRODUCTS
from flowlog.record.values import FieldError, Source, Value, value_of
from flowlog.rig.faults import Faults
from flowlog.rig.toml import parse_toml, read_text

Answers = dict[tuple[int, str], Value]
"""By (product from 1, or 0, and field's key)."""
_EXAMPLE: Final = 'site = "turf, home lawn"'


def read_answers(where: Path, source: Source = "file") -> tuple[str | None, Answers]:
    """A file's set of fields, if it names one, and its answers.

    Raises:
        RigFileError: it cannot be read; all that is wrong with it, one line each.
    """
    text = read_text(where, "file of answers", "flowlog sheet template >")
    data = parse_toml(text, where, _EXAMPLE)
    faults = Faults(str(where), text)
    form = data.pop("form", None)
    if form is not None:
        try:
            form_of(str(form))
        except FormError as error:
            faults.add(("form",), str(error).removeprefix("form: "))
    products = data.pop("product", [])
    answers: Answers = {}
    if not isinstance(products, list) or not all(isinstance(table, dict) for table in products):
        faults.add(("product",), "is not a list of tables (begin each product with [[product]])")
        products = []
    if len(products) > MOST_PRODUCTS:
        faults.add(("product",), f"{MOST_PRODUCTS} products are the most on one record")
        products = []
    _table(data, OTHER_KEYS, 0, source, faults, answers)
    for number, table in enumerate(products, 1):
        _table(table, PRODUCT_KEYS, number, source, faults, answers)
    faults.raise_any()
    return form, answers


def _table(
    data: Mapping[str, Any],
    known: tuple[str, ...],
    number: int,
    source: Source,
    faults: Faults,
    answers: Answers,
) -> None:
    path: tuple[str | int, ...] = ("product", number - 1) if number else ()
    for key, given in data.items():
        if key not in known:
            faults.add((*path, key), f"unknown key ({hint_of(key, known)})")
            continue
        if given == "":
            continue  # a line of the template that was left as it is
        text = _text(given)
        if text is None:
            example = BY_KEY[key].example
            faults.add((*path, key), f'is not text (write for instance {key} = "{example}")')
            continue
        try:
            answers[number, key] = value_of(key, text, source)
        except FieldError as error:
            faults.add((*path, key), str(error).removeprefix(f"{key}: "))


def _text(given: object) -> str | None:
    if isinstance(given, bool):
        return "yes" if given else "no"
    if isinstance(given, str):
        return given
    if isinstance(given, datetime.time):
        return given.strftime("%H:%M")
    if isinstance(given, datetime.date) and not isinstance(given, datetime.datetime):
        return given.isoformat()
    return None


def answer_of(word: str) -> tuple[tuple[int, str], Value | None]:
    """Read `site=turf` or, for the second product, `2.amount=3 lb`; nothing behind `=` empties.

    Raises:
        FieldError: it is not that.
    """
    place, equals, text = word.partition("=")
    prefix, dot, key = place.strip().rpartition(".")
    if not equals or (dot and not prefix.isdecimal()):
        raise FieldError(f"'{word[:60]}' is not key=value (write for instance 'site=turf')")
    if key not in BY_KEY:
        raise FieldError(f"{key[:40]}: there is no such field ({hint_of(key, tuple(BY_KEY))})")
    number = int(prefix) if dot else int(key in PRODUCT_KEYS)
    if bool(number) != (key in PRODUCT_KEYS) or number > MOST_PRODUCTS:
        whose = f"a product (1 to {MOST_PRODUCTS})" if key in PRODUCT_KEYS else "the application"
        raise FieldError(f"{place.strip()}: {key} belongs to {whose}")
    return (number, key), value_of(key, text) if text.strip() else None


def hint_of(key: str, known: tuple[str, ...]) -> str:
    close = difflib.get_close_matches(key, known, n=1)
    return f"did you mean {close[0]}?" if close else "flowlog sheet fields lists them"


def template(form_key: str) -> str:
    """A file to fill in: the fields of a set, empty, and the others as comments."""
    form = form_of(form_key)
    lines = [
        "# Answers for an application record: flowlog sheet new ROUTE --from FILE",
        "# Empty ones are left out. The label is the law; check your state's rule.",
        f'form = "{form.key}"',
        "",
    ]
    for section in ("other", "product"):
        if section == "product":
            lines += ["", "[[product]]"]
        for entry in FIELDS:
            if (entry.section == "product") == (section == "product"):
                mark = "" if entry.key in form.fields and not entry.measured else "# "
                lines.append(f'{mark}{entry.key} = ""  # {entry.label}, e.g. {entry.example}')
    return "\n".join(lines) + "\n"


def to_remember(values: Mapping[str, Value], form: str) -> str:
    """The text of a file with the answers that are the same on most days."""
    document = tomlkit.document()
    document.add(
        tomlkit.comment("Taken up by the next application record; edit or delete at will.")
    )
    document["form"] = form
    for entry in FIELDS:
        if entry.remember and entry.key in values:
            document[entry.key] = values[entry.key].text
    return tomlkit.dumps(document)
