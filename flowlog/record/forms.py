"""Which fields a rule asks for, as data with sources.

These sets are a help for memory, not legal advice: flowlog does not know where a person sprays,
what the label asks for, nor what has changed since the texts below were read. It says which
fields of a set are empty; it never says that a record satisfies a rule.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from flowlog.errors import FlowlogError

ACRE_M2: Final = 43560 * 0.3048**2
"""43,560 international square feet."""

NOTICES: Final = (
    "The label is the law: what the product's label says about records, rates, weather, entry "
    "and protection comes before everything on this page.",
    "Check your state's rule: states, and the programs that they run, ask for more fields, shorter "
    "deadlines and longer keeping than the federal rules.",
    "Field lists are reminders made from the sources named here; flowlog does not say that a "
    "record complies with any rule.",
)


class FormError(FlowlogError):
    """A set of fields that does not exist."""


@dataclass(frozen=True, slots=True)
class Form:
    """One set of fields, and for how long such a record is kept."""

    key: str
    title: str
    fields: tuple[str, ...]
    """Keys of the fields that must not be empty, products' and others."""
    keep_years: int
    keep_because: str
    write_within_days: int | None
    source: str
    area_below_m2: float | None = None
    """The set is meant for applications to less than this."""


_PRIVATE: Final = (
    *("product", "registration", "amount"),
    *("date", "site", "location", "area", "applicator", "certificate"),
)
_COMMERCIAL: Final = (*_PRIVATE, "begin", "end", "customer", "customer_address", "assistants")

FORMS: Final = (
    Form(
        "private",
        "US restricted-use products, private applicator",
        _PRIVATE,
        2,
        "2 years",
        14,
        "7 CFR 110.3, text of 2006 as read; 14 days to write it down: pesticide stewardship pages "
        "of US universities. The federal inspection program has had no staff since 2013: check "
        "what holds today",
    ),
    Form(
        "spot",
        "US restricted-use products, spots of less than 1/10 acre",
        ("product", "registration", "amount", "date", "location", "spot"),
        2,
        "2 years",
        14,
        "7 CFR 110.3 as summarised by a state department of agriculture (Minnesota); the location "
        "comes with the word 'spot'",
        area_below_m2=ACRE_M2 / 10,
    ),
    Form(
        "commercial",
        "US restricted-use products, commercial applicator",
        _COMMERCIAL,
        2,
        "at least 2 years",
        None,
        "40 CFR 171.303(b)(7), what the plans of states must ask for at least, read in a "
        "summary; it adds customer, time of day and the names of non-certified applicators",
    ),
    Form(
        "strict",
        "All of the above and what state examples add",
        (
            *_COMMERCIAL,
            *("active", "strength", "label_rate", "reentry", "supplier"),
            *("target", "method", "wind_speed", "wind_from", "temperature"),
        ),
        3,
        "3 years, the longest known here (Regulation (EC) 1107/2009 art. 67; from memory)",
        14,
        "the federal sets; begin, end and supplier as in a state's rule (Oregon); active "
        "ingredients, entry interval, start and end times as in the worker protection standard, "
        "40 CFR 170 (farms, forests, nurseries and greenhouses, not lawns); wind and temperature "
        "as state extras listed by pesticide stewardship pages of US universities; target and "
        "method: common practice, no source",
    ),
)

DEFAULT_FORM: Final = "strict"
"""Whoever chooses nothing is reminded of too much rather than of too little."""


def form_of(key: str) -> Form:
    """
    Raises:
        FormError: there is no such set.
    """
    for form in FORMS:
        if form.key == key:
            return form
    names: Sequence[str] = [form.key for form in FORMS]
    close = difflib.get_close_matches(key, names, n=1)
    hint = f"did you mean {close[0]}?" if close else "one of: " + ", ".join(names)
    raise FormError(f"form: there is no set of fields '{key[:40]}' ({hint})")
