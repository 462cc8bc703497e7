"""Large numbers for a terminal: our own figures on a grid of 5 by 7 dots."""

from __future__ import annotations

from typing import Final

ROWS: Final = 7

_DOTS: Final[dict[str, str]] = {
    "0": " ooo o   oo   oo   oo   oo   o ooo ",
    "1": "  o   oo  o o    o    o    o  ooooo",
    "2": " ooo o   o    o  oo  o   o    ooooo",
    "3": "ooooo    o   o   oo     oo   o ooo ",
    "4": "   o   oo  o o o  o ooooo   o    o ",
    "5": "oooooo    oooo     o    oo   o ooo ",
    "6": "  oo  o   o    oooo o   oo   o ooo ",
    "7": "ooooo    o   o   o    o    o    o  ",
    "8": " ooo o   oo   o ooo o   oo   o ooo ",
    "9": " ooo o   oo   o oooo    o   o  oo  ",
    "-": "               ooooo               ",
}
"""Each figure as seven rows of five."""
_NARROW: Final[dict[str, str]] = {
    ".": "     oo",
    ",": "    ooo",
    " ": "       ",
}
"""These are one dot wide."""


def large(text: str, *, dot: str = "██", high: int = 1) -> list[str]:
    """Draw a number, as `ROWS` times `high` lines of equal length.

    Args:
        text: figures, '.', ',', '-' and ' '; anything else becomes '-', so that a value that
            cannot be shown is never mistaken for a number.
        dot: what stands for one dot; two characters make it about square.
        high: lines that a dot is high.
    """
    rows = [""] * ROWS
    for place, figure in enumerate(text):
        if figure in _NARROW:
            dots, width = _NARROW[figure], 1
        else:
            dots, width = _DOTS.get(figure, _DOTS["-"]), 5
        for row in range(ROWS):
            drawn = dots[row * width : (row + 1) * width]
            gap = " " * len(dot) if place else ""
            rows[row] += gap + "".join(dot if mark == "o" else " " * len(dot) for mark in drawn)
    return [row for row in rows for _ in range(high)]
