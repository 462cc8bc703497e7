"""One table of the rig file, read key by key; what is wrong is noted and reading goes on."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import Any, Final

from flowlog.rig.faults import Faults, KeyPath, did_you_mean, one_line
from flowlog.units import Kind, UnitError, parse

_TYPES: Final[tuple[tuple[type, str], ...]] = (
    (bool, "a true/false value"),
    (int, "a whole number"),
    (float, "a number"),
    (str, "text"),
    (list, "an array"),
    (dict, "a table"),
    (datetime.date, "a date"),
    (datetime.time, "a time of day"),
)


class Table:
    """A table and what has been asked of it.

    Every reading method notes a fault and returns a stand-in when the value is missing or wrong:
    NaN for numbers (any comparison with it is false, so that no second fault follows from the
    first), "" for text. The stand-ins never leave the reader: with a fault there is no rig.
    """

    def __init__(self, faults: Faults, path: KeyPath, data: dict[str, Any]) -> None:
        self.faults = faults
        self.path = path
        self._data = data
        self._asked: dict[str, None] = {}

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def fault(self, key: str, message: str, *inner: int) -> None:
        """Note a fault at a key of this table."""
        self.faults.add((*self.path, key, *inner), message)

    def quantity(
        self,
        key: str,
        kind: Kind,
        low: str,
        high: str,
        *,
        example: str,
        default: float | None = None,
    ) -> float:
        """A number with a unit, in SI. `low` and `high` are limits as a person writes them."""
        value = self._get(key, example, required=default is None)
        if value is None:
            return math.nan if default is None or key in self else default
        return self.measure(key, value, kind, low, high, example=example)

    def measure(
        self,
        key: str,
        value: object,
        kind: Kind,
        low: str,
        high: str,
        *,
        example: str,
        at: int = -1,
    ) -> float:
        """The same for a value in hand, which may stand at a place `at` in the key's array."""
        inner = () if at < 0 else (at,)
        bare = kind in {"share", "relative_density"}
        if bare and isinstance(value, (int, float)) and not isinstance(value, bool):
            value = repr(value)
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            self.fault(key, f"{value} has no unit (write for instance {example})", *inner)
            return math.nan
        if not isinstance(value, str):
            self.fault(
                key,
                f"is {_type_words(value)}, not a quantity (write for instance {example})",
                *inner,
            )
            return math.nan
        try:
            number = parse(value, kind)
        except UnitError as error:
            self.fault(key, str(error), *inner)
            return math.nan
        # The limits are inclusive, and 20 in may come out a last bit beside 0.508 m.
        slack = 1e-9 * abs(parse(high, kind))
        if not parse(low, kind) - slack <= number <= parse(high, kind) + slack:
            self.fault(key, f"'{one_line(value)}' is outside {low} to {high}", *inner)
            return math.nan
        return number

    def pair(
        self, key: str, kind: Kind, low: str, high: str, *, example: str
    ) -> tuple[float, float]:
        """Two quantities in rising order, as in `pressure = ["25 psi", "50 psi"]`."""
        value = self._get(key, example, required=True)
        if value is None:
            return math.nan, math.nan
        if not isinstance(value, list) or len(value) != 2:
            self.fault(key, f"must be a pair of quantities (write for instance {example})")
            return math.nan, math.nan
        first, second = (
            self.measure(key, part, kind, low, high, example=example, at=place)
            for place, part in enumerate(value)
        )
        if first >= second:
            self.fault(
                key,
                f"'{one_line(value[0])}' is not less than '{one_line(value[1])}' "
                "(write the lower one first)",
            )
        return first, second

    def whole(
        self, key: str, low: int, high: int, *, example: str, default: int | None = None
    ) -> int:
        """A whole number; `low` stands in for a wrong one."""
        value = self._get(key, example, required=default is None)
        if value is None:
            return low if default is None else default
        if isinstance(value, bool) or not isinstance(value, int):
            words = f"'{one_line(value)}'" if isinstance(value, str) else _type_words(value)
            self.fault(key, f"is {words}, not a whole number (write for instance {example})")
            return low
        if not low <= value <= high:
            self.fault(key, f"{value} is outside {low} to {high}")
            return low
        return value

    def number(self, key: str, low: float, high: float, *, example: str, default: float) -> float:
        """A number without a unit."""
        value = self._get(key, example, required=False)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            words = f"'{one_line(value)}'" if isinstance(value, str) else _type_words(value)
            self.fault(key, f"is {words}, not a number (write for instance {example})")
            return math.nan
        if not low <= value <= high:
            self.fault(key, f"{value} is outside {low:g} to {high:g}")
            return math.nan
        return float(value)

    def text(
        self,
        key: str,
        *,
        example: str,
        default: str | None = "",
        longest: int = 200,
        secret: bool = False,
    ) -> str:
        """Text of one line; `default` None means that it must be there.

        A secret's value is never repeated in a fault.
        """
        value = self._get(key, example, required=default is None)
        if value is None:
            return default or ""
        if not isinstance(value, str):
            self.fault(key, f"is {_type_words(value)}, not text (write for instance {example})")
            return ""
        if not value.strip():
            self.fault(key, f"is empty (write for instance {example})")
            return ""
        if len(value) > longest:
            self.fault(key, f"has {len(value)} characters (at most {longest})")
            return ""
        if not value.isprintable():
            shown = "" if secret else f"'{one_line(value)}' "
            self.fault(key, f"{shown}has a line break or another control character in it")
            return ""
        return value

    def choice(self, key: str, options: Sequence[str], *, default: str) -> str:
        """One of a few words."""
        value = self._get(key, f'{key} = "{options[0]}"', required=False)
        if value is None:
            return default
        if value not in options:
            words = f"'{one_line(value)}'" if isinstance(value, str) else _type_words(value)
            self.fault(key, f"is {words} (write one of: {', '.join(options)})")
            return default
        return str(value)

    def flag(self, key: str, *, default: bool) -> bool:
        """True or false."""
        value = self._get(key, f"{key} = true", required=False)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.fault(key, f"is {_type_words(value)} (write true or false, without quotes)")
            return default
        return value

    def raw(self, key: str) -> Any:
        """The value as it stands, or None."""
        return self._get(key, "", required=False)

    def end(self) -> None:
        """Note each key that nobody asked for. Its value is not repeated: it may be a secret."""
        for key in self._data:
            if key not in self._asked:
                self.fault(key, f"unknown key ({did_you_mean(key, self._asked)})")

    def _get(self, key: str, example: str, *, required: bool) -> Any:
        self._asked[key] = None
        if key not in self._data:
            if required:
                self.fault(key, f"missing (write for instance {example})")
            return None
        return self._data[key]


def _type_words(value: object) -> str:
    return next((words for kind, words in _TYPES if isinstance(value, kind)), "something else")
