"""What is wrong with a rig file: all of it at once, each fault with its line."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from flowlog.errors import FlowlogError

_MOST: Final = 50
"""So many faults at once: more help nobody, and each costs a search for its line."""

KeyPath = tuple[str | int, ...]
"""Keys from the top of the file inwards; a number counts in an array, from 0."""


class RigFileError(FlowlogError):
    """A rig file that cannot be used.

    Attributes:
        faults: one line each, e.g. `rig.toml:14: boom.tips: 200 is outside 1 to 60`.
    """

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


@dataclass(slots=True)
class Faults:
    """Gathers the faults of one file, so that a person mends all in one go."""

    file: str
    text: str
    found: list[tuple[KeyPath, str]] = field(default_factory=list)

    def add(self, path: KeyPath, message: str) -> None:
        """Note a fault at a key; what is missing stands at the line of its table."""
        self.found.append((path, message))

    def raise_any(self) -> None:
        """Raise what was found, in the order of the lines.

        Raises:
            RigFileError: there was a fault.
        """
        if not self.found:
            return
        placed = []
        for path, message in self.found[:_MOST]:
            line = self._line(path)
            place = self.file if line is None else f"{self.file}:{line}"
            placed.append((line or 0, f"{place}: {written(path)}: {message}"))
        lines = [message for _, message in sorted(placed, key=lambda fault: fault[0])]
        more = len(self.found) - _MOST
        if more > 0:
            lines.append(f"{self.file}: and {more} more (mend these first)")
        raise RigFileError(lines)

    def _line(self, path: KeyPath) -> int | None:
        for length in range(len(path), 0, -1):
            line = line_of(self.text, path[:length])
            if line is not None:
                return line
        return None


def written(path: KeyPath) -> str:
    """A key path as in `boom.spacing` or `meter.curve[2]`; array places count from 1."""
    text = ""
    for key in path:
        text += f"[{key + 1}]" if isinstance(key, int) else f".{one_line(key)}"
    return text.lstrip(".")


def one_line(text: str) -> str:
    """Text from a file as a message may repeat it: one line, short, nothing unprintable."""
    shown = "".join(c if c.isprintable() else "?" for c in text)
    return shown if len(shown) <= 60 else shown[:57] + "..."


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """` (did you mean 'spacing'?)`, or all the known words, in brackets after a message."""
    names = list(known)
    close = difflib.get_close_matches(word.casefold(), names, n=1, cutoff=0.6)
    return f"did you mean '{close[0]}'?" if close else f"known here: {', '.join(names)}"


def line_of(text: str, path: KeyPath) -> int | None:
    """Line where a key's value ends: the shortest part of the file that holds it.

    The TOML parser of the standard library tells no lines, but it tells whether the first k
    lines are a file of their own and hold the key. That grows with k (leaving aside k that end
    inside a value), so the place is found by halving.
    """
    lines = text.splitlines(keepends=True)
    low, high = 0, len(lines)
    if not _holds(lines, high, path):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        if _holds(lines, middle, path):
            high = middle
        else:
            low = middle
    return high


def _holds(lines: list[str], count: int, path: KeyPath) -> bool:
    for k in range(count, 0, -1):
        try:
            found = tomllib.loads("".join(lines[:k]))
        except (ValueError, RecursionError):
            continue
        return _reaches(found, path)
    return False


def _reaches(found: Any, path: KeyPath) -> bool:
    for key in path:
        in_table = isinstance(found, dict) and key in found
        in_array = isinstance(found, list) and isinstance(key, int) and key < len(found)
        if not (in_table or in_array):
            return False
        found = found[key]
    return True
