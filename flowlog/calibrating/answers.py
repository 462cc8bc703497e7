"""What a person writes at a prompt, to SI: with the unit that they used last, if they leave it out.

Each reader gives the value and the text as it should be kept: with its unit, so that it can be
read again on its own.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from flowlog.errors import FlowlogError
from flowlog.units import Kind, UnitError, parse_with_unit
from flowlog.units.kinds import KINDS

_BARE: Final = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_CLOCK: Final = re.compile(r"([0-9]{1,3}):([0-5]?[0-9](?:\.[0-9]+)?)")
_TEMPERATURE: Final = re.compile(r"([+-]?[0-9]+(?:\.[0-9]+)?) ?(?:°|deg )? ?([CcFf])?")


class AnswerError(FlowlogError):
    """An answer that cannot be one, and what would be right."""


class Quantity:
    """Reads one kind of quantity, or one of two kinds, and remembers the unit.

    Args:
        kinds: what it may be; the first is told as the right one.
        unit: for a bare number, until the person has written another.
        zero: whether zero is an answer.
        example: of a right answer, where the kind's own does not fit.
    """

    def __init__(
        self, *kinds: Kind, unit: str = "", zero: bool = False, example: str | None = None
    ) -> None:
        self._example = example
        self.kinds = kinds
        self.unit = unit
        self.kind = kinds[0]
        """The kind of the last answer."""
        self._zero = zero

    def __call__(self, text: str) -> tuple[float, str]:
        """The value in SI, and the text with its unit.

        Raises:
            FlowlogError: it is none; the message says what would be right.
        """
        text = text.strip()
        clock = _CLOCK.fullmatch(text)
        if clock is not None and self.kinds[0] == "time":
            text = f"{60 * int(clock[1]) + float(clock[2]):g} s"
        elif _BARE.fullmatch(text) and self.unit:
            text = f"{text} {self.unit}"
        value, unit, kind = self._parse(text)
        if value < 0.0 or (value == 0.0 and not self._zero):
            least = "zero or more" if self._zero else "more than zero"
            raise AnswerError(f"'{text}' cannot be: it must be {least}")
        self.unit, self.kind = unit, kind
        return value, text

    def _with_example(self, error: UnitError, kind: Kind) -> UnitError:
        if self._example is None:
            return error
        return UnitError(str(error).replace(f"'{KINDS[kind].example}'", f"'{self._example}'"))

    def _parse(self, text: str) -> tuple[float, str, Kind]:
        first: UnitError | None = None
        for kind in self.kinds:
            try:
                value, unit = parse_with_unit(text, kind)
            except UnitError as error:
                first = first or self._with_example(error, kind)
            else:
                return value, unit, kind
        if len(self.kinds) > 1 and first is not None and not _names_other(first):
            other = KINDS[self.kinds[1]]
            raise AnswerError(f"{first}; {other.words} will do too, '{other.example}'")
        raise first or AnswerError(f"'{text}' is no answer")


def _names_other(error: UnitError) -> bool:
    return "has no unit" not in str(error)


def read_temperature(text: str) -> tuple[float, str]:
    """Of water, in Celsius. A bare number above 45 is taken for Fahrenheit.

    Raises:
        AnswerError: no temperature that a sprayer's water can have.
    """
    found = _TEMPERATURE.fullmatch(text.strip())
    if found is None:
        raise AnswerError(
            f"'{text.strip()}' is not a temperature (write for instance '64 F', '18 C')"
        )
    value = float(found[1])
    unit = (found[2] or ("F" if value > 45.0 else "C")).upper()
    celsius = (value - 32.0) / 1.8 if unit == "F" else value
    if not 0.0 <= celsius <= 45.0:
        raise AnswerError(
            f"water of {value:g} {unit} is not what is sprayed (0 to 45 C, 32 to 113 F)"
        )
    return celsius, f"{value:g} {unit}"


def read_yes(text: str) -> tuple[bool, str]:
    """Yes or no."""
    word = text.strip().casefold()
    if word in {"y", "yes"}:
        return True, "yes"
    if word in {"n", "no"}:
        return False, "no"
    raise AnswerError(f"'{text.strip()[:20]}' is neither yes nor no (write y or n)")


class Choice:
    """Reads one of some words, by as much of its beginning as tells it from the others."""

    def __init__(self, words: Sequence[str]) -> None:
        self._words = tuple(words)

    def __call__(self, text: str) -> tuple[str, str]:
        begun = text.strip().casefold()
        found = [word for word in self._words if begun and word.startswith(begun)]
        if begun in self._words:
            found = [begun]
        if len(found) != 1:
            raise AnswerError(f"'{text.strip()[:20]}' is none of: {', '.join(self._words)}")
        return found[0], found[0]


class Number:
    """Reads a number without a unit."""

    def __init__(self, low: float, high: float, what: str, *, whole: bool = False) -> None:
        self._low, self._high, self._what, self._whole = low, high, what, whole

    def __call__(self, text: str) -> tuple[float, str]:
        clean = text.strip()
        if not _BARE.fullmatch(clean):
            raise AnswerError(
                f"'{clean[:30]}' is not {self._what} ({self._low:g} to {self._high:g})"
            )
        value = float(clean)
        if self._whole and value != int(value):
            raise AnswerError(f"'{clean}' is not a whole number")
        if not self._low <= value <= self._high:
            raise AnswerError(f"{value:g} is not {self._what} ({self._low:g} to {self._high:g})")
        return value, clean
