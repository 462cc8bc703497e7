"""An alert's evidence on a terminal: words, and a chart of plain letters that any line carries."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from flowlog.review.axis import round_marks
from flowlog.review.explain import Explanation
from flowlog.review.explain_chart import Panel, Picture, picture_of
from flowlog.review.explain_words import Section, doubts_of, sections_of, title_of

_GUTTER: Final = 8
_LEAST: Final = 30
_WIDEST: Final = 160
_ROWS: Final = {"boom": 12, "evidence": 8, "pressure": 8, "flow": 8}
_MARKS: Final = {"before": "-", "fault": "=", "limit": "."}
_MOMENTS: Final = {"onset": ":", "said": "!", "onset, said": "!", "cleared": "c"}


def explain_view(told: Explanation) -> RenderableType:
    """The whole of it."""
    parts: list[RenderableType] = [Text(title_of(told), style="bold")]
    parts += [Text(f"Note: {doubt}") for doubt in doubts_of(told)]
    sections = sections_of(told)
    parts += [Text(""), *_section(sections[0]), Text(""), _Chart(picture_of(told))]
    for section in sections[1:]:
        if section.title:
            parts.append(Text(""))
        parts += _section(section)
    return Group(*parts)


def chart_lines(picture: Picture, width: int) -> list[str]:
    """The chart in so many columns, in printable ASCII.

    A point is a star where it was measured; nothing is drawn where nothing was.
    """
    inner = min(max(width, _GUTTER + _LEAST), _WIDEST) - _GUTTER
    lines = _moment_lines(picture, inner)
    for panel in picture.panels:
        lines += [*_titles(panel, inner + _GUTTER), *_panel(panel, picture, inner)]
    lines += _axis(picture, inner)
    return [line.rstrip() for line in lines]


class _Chart:
    """As wide as where it is shown."""

    def __init__(self, picture: Picture) -> None:
        self._picture = picture

    def __rich_console__(self, _: Console, options: ConsoleOptions) -> Iterator[Text]:
        for line in chart_lines(self._picture, options.max_width):
            yield Text(line, no_wrap=True, overflow="crop")


def _section(section: Section) -> list[RenderableType]:
    parts: list[RenderableType] = [Text(section.title, style="bold")] if section.title else []
    for number, line in enumerate(section.lines, 1):
        text = Text(f"{number}. {line}" if section.numbered else line)
        parts.append(Padding(text, (0, 0, 0, 2), expand=False))
    return parts


def _column(picture: Picture, second: float, inner: int) -> int:
    share = (second - picture.begin_s) / max(picture.end_s - picture.begin_s, 1e-9)
    return min(max(int(share * inner), 0), inner - 1)


def _moment_lines(picture: Picture, inner: int) -> list[str]:
    """Names of the moments beside their columns, each moment in its own line as far as needed."""
    lines: list[list[str]] = [[" "] * inner]
    for index, (second, name) in enumerate(picture.moments):
        column = _column(picture, second, inner)
        text = f"{_MOMENTS[name]} {name}" + (f" {second:+.1f} s" if index else "")
        begin = column
        if index == 0 and len(picture.moments) > 1 and column + 1 >= len(text):
            text = f"{name} {_MOMENTS[name]}"
            begin = column + 1 - len(text)
        begin = min(begin, inner - len(text))
        free = next((line for line in lines if _is_free(line, begin, len(text))), None)
        if free is None:
            free = [" "] * inner
            lines.append(free)
        free[begin : begin + len(text)] = text
    return [" " * _GUTTER + "".join(line) for line in lines]


def _is_free(line: list[str], begin: int, length: int) -> bool:
    return all(cell == " " for cell in line[begin : begin + length])


def _titles(panel: Panel, width: int) -> list[str]:
    """Its name, and what its lines mean."""
    keys: dict[str, str] = {}
    for level in panel.levels:
        key = _MARKS[level.style] * 3
        keys[key] = f"{keys[key]}, {level.label}" if key in keys else f"{key} {level.label}"
    legend = "   ".join(("*  measured", *keys.values()))
    both = f"{panel.title}   ({legend})"
    if len(both) <= width:
        return [both]
    return [panel.title, f"  ({legend})"[:width]]


def _panel(panel: Panel, picture: Picture, inner: int) -> list[str]:
    rows = _ROWS.get(panel.name, 8)
    grid = [[" "] * inner for _ in range(rows)]

    def row_of(value: float) -> int:
        share = (value - panel.low) / max(panel.high - panel.low, 1e-12)
        return min(max(int((1.0 - share) * rows), 0), rows - 1)

    for level in panel.levels:
        begin, end = (_column(picture, at, inner) for at in (level.begin_s, level.end_s))
        row = row_of(level.value)
        for column in range(begin, end + 1):
            grid[row][column] = _MARKS[level.style]
    for second, name in picture.moments[::-1]:
        column = _column(picture, second, inner)
        for line in grid:
            line[column] = _MOMENTS[name]
    for at, value in zip(panel.at_s.tolist(), panel.values.tolist(), strict=True):
        if np.isfinite(value):
            grid[row_of(value)][_column(picture, at, inner)] = "*"
    labels = _labels(panel, rows)
    return [f"{labels[i]:>{_GUTTER - 2}} |" + "".join(line) for i, line in enumerate(grid)]


def _labels(panel: Panel, rows: int) -> list[str]:
    """Round values beside the rows that they lie in."""
    labels = [""] * rows
    for mark in round_marks(panel.low, panel.high, max(2, rows // 2)):
        share = (mark - panel.low) / max(panel.high - panel.low, 1e-12)
        row = min(max(int((1.0 - share) * rows), 0), rows - 1)
        sign = "+" if panel.name == "boom" and mark > 0 else ""
        labels[row] = f"{sign}{mark + 0.0:.{panel.decimals}f}"
    return labels


def _axis(picture: Picture, inner: int) -> list[str]:
    ruler, text = ["-"] * inner, [" "] * inner
    for mark in round_marks(picture.begin_s, picture.end_s, max(2, inner // 11)):
        column = _column(picture, mark, inner)
        ruler[column] = "+"
        label = f"{mark:+.0f}" if mark else "0 s"
        begin = min(max(column - len(label) // 2, 0), inner - len(label))
        if all(cell == " " for cell in text[max(begin - 1, 0) : begin + len(label)]):
            text[begin : begin + len(label)] = label
    under = picture.under.split("; ")
    return [
        " " * (_GUTTER - 1) + "+" + "".join(ruler),
        " " * _GUTTER + "".join(text),
        *(" " * _GUTTER + line[:inner].center(inner) for line in under),
    ]
