"""An alert's evidence as SVG and as one HTML file: complete in themselves, for ink on paper.

What is what stands beside it in words and in dashes, never in colours alone.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Final

import numpy as np

from flowlog.review.axis import round_marks
from flowlog.review.chart_svg import INK, PAPER, SOFT, SPREAD
from flowlog.review.explain import Explanation
from flowlog.review.explain_chart import Level, Panel, Picture, described, picture_of
from flowlog.review.explain_words import Section, doubts_of, sections_of, title_of

_Scale = Callable[[float], float]
_LEFT: Final = 58
_RIGHT: Final = 150
"""Room for what the levels are called."""
_TOP: Final = 62
_BETWEEN: Final = 34
_BOTTOM: Final = 44
_HEIGHTS: Final = {"boom": 200, "evidence": 120, "pressure": 120, "flow": 120}
_DASHES: Final = {"before": "", "fault": "9 4", "limit": "2 4"}
_GAP_S: Final = 1.7
"""No line across time of which nothing is known."""
_MOMENT_DASHES: Final = ("6 3", "", "1 3")
_LINE_PX: Final = 14.0

_STYLE: Final = """
@page { margin: 15mm 16mm; }
body { color: #000; background: #fff; font: 11pt/1.45 "Helvetica Neue", Arial, "DejaVu Sans",
  sans-serif; max-width: 190mm; margin: 8mm auto; padding: 0 4mm; overflow-wrap: anywhere; }
h1 { font-size: 17pt; line-height: 1.2; border-bottom: 2pt solid #000; padding-bottom: 2mm; }
h2 { font-size: 12pt; margin: 5mm 0 1mm; break-after: avoid; }
p { margin: 1mm 0; white-space: pre-wrap; }
ol { margin: 1mm 0; padding-left: 7mm; }
.doubt { border: 1.2pt solid #000; padding: 1.5mm 3mm; font-weight: bold; }
figure { margin: 3mm 0; break-inside: avoid; } figure svg { display: block; width: 100%;
  height: auto; }
"""


def explain_svg(told: Explanation) -> str:
    """The chart as an SVG file."""
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + _svg(told) + "\n"


def explain_html(told: Explanation) -> str:
    """Chart and words as one HTML file; it loads nothing and runs nothing."""
    title = escape(title_of(told))
    parts = [
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>",
    ]
    parts += [f'<p class="doubt">{escape(doubt)}</p>' for doubt in doubts_of(told)]
    sections = sections_of(told)
    parts += _section(sections[0])
    parts.append(f"<figure>{_svg(told)}</figure>")
    for section in sections[1:]:
        parts += _section(section)
    parts.append("</body>\n</html>")
    return "\n".join(parts) + "\n"


def _section(section: Section) -> list[str]:
    parts = [f"<h2>{escape(section.title)}</h2>"] if section.title else []
    if section.numbered:
        items = "".join(f"<li>{escape(line)}</li>" for line in section.lines)
        return [*parts, f"<ol>{items}</ol>"]
    return parts + [f"<p>{escape(line)}</p>" for line in section.lines]


def _svg(told: Explanation, width: int = 960) -> str:
    picture = picture_of(told)
    heights = [_HEIGHTS.get(panel.name, 120) for panel in picture.panels]
    bottom = _TOP + sum(heights) + _BETWEEN * (len(heights) - 1)
    height = bottom + _BOTTOM
    frame = _Frame(picture, width)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        'aria-labelledby="explain-title explain-desc" font-family="sans-serif" font-size="13">',
        f'<title id="explain-title">{escape(title_of(told))}</title>',
        f'<desc id="explain-desc">{escape(described(picture))}</desc>',
        f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
    ]
    spans, top = [], _TOP
    for panel, tall in zip(picture.panels, heights, strict=True):
        spans.append((top, top + tall))
        parts += _panel(panel, frame, top, tall)
        top += tall + _BETWEEN
    parts += _moments(picture, frame, spans)
    parts += _axis(picture, frame, bottom)
    parts.append("</svg>")
    return "\n".join(parts)


class _Frame:
    """Where a second stands from the left."""

    def __init__(self, picture: Picture, width: int) -> None:
        self.left, self.right = float(_LEFT), float(width - _RIGHT)
        self._begin = picture.begin_s
        self._scale = (self.right - self.left) / max(picture.end_s - picture.begin_s, 1e-9)

    def x(self, second: float) -> float:
        return min(max(self.left + (second - self._begin) * self._scale, self.left), self.right)


def _moments(picture: Picture, frame: _Frame, spans: list[tuple[int, int]]) -> list[str]:
    """A line down through each panel, its name above: the onset's to the left, others right."""
    parts = []
    for index, (second, name) in enumerate(picture.moments):
        x = frame.x(second)
        text = name if index == 0 else f"{name} {second:+.1f} s"
        anchor, at = ("end", x - 5) if index == 0 else ("start", x + 5)
        if at > frame.right - 60 and index:
            anchor, at = "end", x - 5
        # The third may lie so near that it needs a line of its own.
        y = 16 if index < 2 else 32
        path = "".join(f"M{x:.1f} {top}V{bottom}" for top, bottom in spans)
        parts.append(
            f'<path d="M{x:.1f} {y - 10}V{y + 4}{path}" fill="none" stroke="{INK}" '
            f'stroke-width="1.4" stroke-dasharray="{_MOMENT_DASHES[index]}"/>'
        )
        parts.append(
            f'<text x="{at:.1f}" y="{y}" text-anchor="{anchor}" font-weight="bold" fill="{INK}">'
            f"{escape(text)}</text>"
        )
    return parts


def _panel(panel: Panel, frame: _Frame, top: int, height: int) -> list[str]:
    def y(value: float) -> float:
        share = (value - panel.low) / max(panel.high - panel.low, 1e-12)
        return top + height * (1.0 - min(max(share, 0.0), 1.0))

    parts = [
        f'<text x="{frame.left}" y="{top - 8}" fill="{INK}" font-weight="bold">'
        f"{escape(panel.title)}</text>",
        f'<path d="M{frame.left} {top}V{top + height}H{frame.right}" fill="none" '
        f'stroke="{SPREAD}"/>',
    ]
    for mark in round_marks(panel.low, panel.high, max(2, height // 40)):
        sign = "+" if panel.name == "boom" and mark > 0 else ""
        parts.append(
            f'<text x="{frame.left - 6}" y="{y(mark) + 4.5:.1f}" text-anchor="end" '
            f'fill="{SOFT}">{sign}{mark + 0.0:,.{panel.decimals}f}</text>'
        )
    for level in panel.levels:
        dash = _DASHES[level.style]
        wide = "2.2" if level.style == "fault" else "1.2"
        parts.append(
            f'<path d="M{frame.x(level.begin_s):.1f} {y(level.value):.1f}'
            f'H{frame.x(level.end_s):.1f}" fill="none" stroke="{INK}" stroke-width="{wide}" '
            f'stroke-dasharray="{dash}"/>'
        )
    parts += _names(panel, frame, y)
    parts += _points(panel, frame, y)
    return parts


def _names(panel: Panel, frame: _Frame, y: _Scale) -> list[str]:
    """What the levels are called, to the right, kept apart from one another."""
    last: dict[str, Level] = {}
    for level in panel.levels:
        last[level.label] = level
    parts, free = [], -1e9
    for level in sorted(last.values(), key=lambda one: y(one.value)):
        at = max(y(level.value) + 4.5, free)
        free = at + _LINE_PX
        parts.append(
            f'<text x="{frame.right + 6:.1f}" y="{at:.1f}" fill="{INK}">'
            f"{escape(level.label)}</text>"
        )
    return parts


def _points(panel: Panel, frame: _Frame, y: _Scale) -> list[str]:
    """A line through what was measured, without one across gaps, and a dot where it is alone."""
    known = np.isfinite(panel.values)
    at, values = panel.at_s[known], panel.values[known]
    if not len(at):
        return [
            f'<text x="{(frame.left + frame.right) / 2:.0f}" y="{y(panel.high) + 40:.0f}" '
            f'text-anchor="middle" fill="{SOFT}">not measured</text>'
        ]
    line = []
    for run in np.split(np.arange(len(at)), np.flatnonzero(np.diff(at) > _GAP_S) + 1):
        points = [f"{frame.x(float(at[i])):.1f} {y(float(values[i])):.1f}" for i in run]
        line.append("M" + "L".join(points) + ("h1.5" if len(points) == 1 else ""))
    return [
        f'<path d="{"".join(line)}" fill="none" stroke="{INK}" stroke-width="1.3" '
        'stroke-linejoin="round" stroke-linecap="round"/>'
    ]


def _axis(picture: Picture, frame: _Frame, bottom: int) -> list[str]:
    parts = []
    for mark in round_marks(picture.begin_s, picture.end_s, 12):
        x = frame.x(mark)
        parts.append(f'<path d="M{x:.1f} {bottom}v5" stroke="{INK}" fill="none"/>')
        parts.append(
            f'<text x="{x:.1f}" y="{bottom + 18}" text-anchor="middle" fill="{SOFT}">'
            f"{f'{mark:+.0f}' if mark else '0'}</text>"
        )
    middle = (frame.left + frame.right) / 2
    parts.append(
        f'<text x="{middle:.1f}" y="{bottom + 36}" text-anchor="middle" fill="{SOFT}">'
        f"{escape(picture.under)}</text>"
    )
    return parts
