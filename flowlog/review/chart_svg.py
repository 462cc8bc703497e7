"""The chart of a route as SVG: complete in itself, without script and without style sheet.

Readable in black and white and for every kind of colour vision: what is what stands beside it in
words; the line is ink, its spread a grey, the band has edges with dashes of its own; alerts are
numbered, in a square standing on its corner or, where one has to stop, in an octagon.

Every part has a class as well, so that a page may give it the colours of a dark screen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import Final

import numpy as np

from flowlog.review import words
from flowlog.review.axis import round_marks, time_marks
from flowlog.review.chart import Chart, Flag, Panel
from flowlog.units import Units, display_unit, number_in

_Scale = Callable[[float], float]
_LEFT: Final = 58
_RIGHT: Final = 14
_TOP: Final = 74
_BOTTOM: Final = 30
_BETWEEN: Final = 30
_TITLES: Final = {"rate": "Rate", "flow": "Flow", "pressure": "Pressure"}
_HIGHEST: Final = 2.0
"""Times the band's upper end: beyond it an arrow says that there is more."""

INK: Final = "#111111"
SOFT: Final = "#4a4a4a"
SPREAD: Final = "#9a9a9a"
BAND: Final = "#d9e6f2"
PAPER: Final = "#ffffff"


def chart_svg(
    chart: Chart,
    units: Units,
    *,
    width: int = 960,
    panel_height: int = 150,
    title: str = "Rate, flow and pressure",
    ident: str = "chart",
) -> str:
    """One `<svg>` element.

    Args:
        width, panel_height: in pixels of the drawing; it scales with the page.
        title: read to those who cannot see it, with a sentence about what is to be seen.
        ident: begins the ids in it, for pages with several charts.
    """
    inner = width - _LEFT - _RIGHT
    height = _TOP + len(chart.panels) * (panel_height + _BETWEEN) - _BETWEEN + _BOTTOM
    frame = _Frame(chart, _LEFT, inner)
    marks = time_marks(chart.begin_s, chart.end_s, chart.begin_wall_us, max(2, inner // 90))
    bottom = height - _BOTTOM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" role="img" '
        f'aria-labelledby="{ident}-title {ident}-desc" font-family="sans-serif" font-size="13">',
        f'<title id="{ident}-title">{escape(title)}</title>',
        f'<desc id="{ident}-desc">{escape(described(chart, units))}</desc>',
        f'<rect class="chart-paper" width="{width}" height="{height}" fill="{PAPER}"/>',
    ]
    parts += _stops(chart, frame)
    top = _TOP
    for panel in chart.panels:
        parts += _panel(panel, frame, units, top, panel_height, marks)
        top += panel_height + _BETWEEN
    parts += [
        f'<text class="chart-soft" x="{frame.x(at):.1f}" y="{bottom + 18}" text-anchor="middle" '
        f'fill="{SOFT}">{escape(text)}</text>'
        for at, text in marks
        if frame.x(at) < width - 20
    ]
    parts += _flags(chart.flags, frame, bottom)
    parts.append("</svg>")
    return "\n".join(parts)


def described(chart: Chart, units: Units) -> str:
    """What is to be seen, in words."""
    said = [f"{words.duration(chart.end_s - chart.begin_s)} of the route"]
    for panel in chart.panels:
        low, high = panel.trace.low, panel.trace.high
        if np.isfinite(low).any() and np.isfinite(high).any():
            least = words.figure(float(np.nanmin(low)), panel.kind, units)
            most = words.value(float(np.nanmax(high)), panel.kind, units)
            said.append(f"{_TITLES[panel.name]} from {least} to {most}")
        else:
            said.append(f"{_TITLES[panel.name]} not measured")
    said += [f"Alert {flag.number}: {flag.text.rstrip('.')}" for flag in chart.flags]
    if chart.stops:
        said.append(f"Stops {', '.join(str(strip.number) for strip in chart.stops)}")
    return ". ".join(said) + "."


class _Frame:
    """Where a second stands from the left."""

    def __init__(self, chart: Chart, left: int, inner: int) -> None:
        self.left, self.right = left, left + inner
        self._begin, self._scale = chart.begin_s, inner / (chart.end_s - chart.begin_s)
        # No line across time of which nothing is known.
        self.gap_s = max(2.5 * chart.step_s, 2.5)

    def x(self, second: float) -> float:
        return self.left + (second - self._begin) * self._scale

    def inside(self, second: float) -> float:
        return min(max(self.x(second), self.left), self.right)


def _stops(chart: Chart, frame: _Frame) -> list[str]:
    """A bar above all: where a stop is, its number, and its name as far as there is room."""
    parts = [f'<text class="chart-soft" x="4" y="38" fill="{SOFT}">stops</text>']
    for strip in chart.stops:
        left, right = frame.inside(strip.begin_s), frame.inside(strip.end_s)
        wide = max(right - left, 1.0)
        parts.append(
            f'<rect class="chart-stop" x="{left:.1f}" y="26" width="{wide:.1f}" height="16" '
            f'fill="none" stroke="{INK}"/>'
        )
        text = f"{strip.number} {words.clean(strip.name)}" if strip.name else f"{strip.number}"
        fits = int(wide / 7.5)
        if fits >= len(str(strip.number)):
            shown = text if len(text) <= fits else text[: max(fits - 1, 1)].rstrip() + "…"
            shown = shown if fits >= 4 else str(strip.number)
            parts.append(
                f'<text class="chart-ink" x="{left + 3:.1f}" y="38.5" fill="{INK}" '
                f'font-size="12">{escape(shown)}</text>'
            )
    return parts


def _panel(
    panel: Panel,
    frame: _Frame,
    units: Units,
    top: int,
    height: int,
    marks: Sequence[tuple[float, str]],
) -> list[str]:
    unit = display_unit(panel.kind, units)
    factor = number_in(1.0, panel.kind, unit)
    highest = _highest(panel)

    def y(value: float) -> float:
        return top + height * (1.0 - min(max(value / highest, 0.0), 1.0))

    low, high = y(panel.low), y(panel.high)
    parts = [
        f'<rect class="chart-band" x="{frame.left}" y="{high:.1f}" '
        f'width="{frame.right - frame.left}" height="{low - high:.1f}" fill="{BAND}"/>'
    ]
    parts += [
        f'<line class="chart-edge" x1="{frame.left}" x2="{frame.right}" y1="{at:.1f}" '
        f'y2="{at:.1f}" stroke="{SOFT}" stroke-dasharray="2 4"/>'
        for at in (low, high)
    ]
    if panel.target is not None:
        at = y(panel.target)
        parts.append(
            f'<line class="chart-edge" x1="{frame.left}" x2="{frame.right}" y1="{at:.1f}" '
            f'y2="{at:.1f}" stroke="{SOFT}" stroke-dasharray="10 5"/>'
        )
    grid = "".join(f"M{frame.x(at):.1f} {top}V{top + height}" for at, _ in marks)
    parts.append(
        f'<path class="chart-grid" d="M{frame.left} {top}V{top + height}H{frame.right}{grid}" '
        f'fill="none" stroke="{SPREAD}" stroke-width="0.6"/>'
    )
    decimals = _decimals(highest * factor)
    for mark in round_marks(0.0, highest * factor, max(2, height // 40)):
        parts.append(
            f'<text class="chart-soft" x="{frame.left - 6}" y="{y(mark / factor) + 4.5:.1f}" '
            f'text-anchor="end" fill="{SOFT}">{mark:,.{decimals}f}</text>'
        )
    parts.append(
        f'<text class="chart-ink" x="{frame.left}" y="{top - 7}" fill="{INK}">'
        f'<tspan font-weight="bold">{_TITLES[panel.name]}</tspan> {escape(unit)}; '
        f"{escape(_band_words(panel, units, frame.right - frame.left))}</text>"
    )
    parts += _curve(panel, frame, y)
    parts += _beyond(panel, frame, highest, top)
    return parts


def _curve(panel: Panel, frame: _Frame, y: _Scale) -> list[str]:
    """The spread from smallest to largest as an area, the mean as a line over it."""
    trace = panel.trace
    x = [frame.x(at) for at in trace.at_s.tolist()]
    spread, line = [], []
    for run in _runs(panel, frame.gap_s):
        upper = [f"{x[i]:.1f} {y(float(trace.high[i])):.1f}" for i in run]
        lower = [f"{x[i]:.1f} {y(float(trace.low[i])):.1f}" for i in reversed(run)]
        spread.append("M" + "L".join(upper + lower) + "Z")
        mean = [f"{x[i]:.1f} {y(float(trace.mean[i])):.1f}" for i in run]
        # A single point would not be seen.
        line.append("M" + "L".join(mean) + ("h1" if len(run) == 1 else ""))
    return [
        f'<path class="chart-spread" d="{"".join(spread)}" fill="{SPREAD}" stroke="{SPREAD}" '
        'stroke-width="1"/>',
        f'<path class="chart-line" d="{"".join(line)}" fill="none" stroke="{INK}" '
        'stroke-width="1.6" stroke-linejoin="round"/>',
    ]


def _runs(panel: Panel, gap_s: float) -> list[list[int]]:
    """Points that belong to one line: measured, and without a hole in time between them."""
    trace = panel.trace
    known = np.flatnonzero(np.isfinite(trace.mean))
    if not len(known):
        return []
    apart = (np.diff(known) > 1) | (np.diff(trace.at_s[known]) > gap_s)
    return [run.tolist() for run in np.split(known, np.flatnonzero(apart) + 1)]


def _beyond(panel: Panel, frame: _Frame, highest: float, top: int) -> list[str]:
    """Arrows where a value stands above the scale, not more than fit side by side."""
    parts: list[str] = []
    free = -1.0
    with np.errstate(invalid="ignore"):
        above = np.flatnonzero(panel.trace.high > highest)
    for x in (frame.x(at) for at in panel.trace.at_s[above].tolist()):
        if x >= free:
            parts.append(
                f'<path class="chart-flag" d="M{x:.1f} {top - 2}l5 8h-10z" fill="{INK}">'
                "<title>above the scale</title></path>"
            )
            free = x + 14
    return parts


def _flags(flags: Sequence[Flag], frame: _Frame, bottom: int) -> list[str]:
    """A line down through all panels at the onset, and on it a sign with the alert's number."""
    parts: list[str] = []
    free = 13.0
    for flag in sorted(flags, key=lambda one: one.since_s):
        x = frame.inside(flag.since_s)
        # Two alerts of the same moment stand beside one another.
        at = max(x, free)
        free = at + 27
        sign = (
            f"M{at - 4.5:.1f} 1h9l6.5 6.5v9l-6.5 6.5h-9l-6.5 -6.5v-9z"
            if flag.urgent
            else f"M{at:.1f} 0l12 12l-12 12l-12 -12z"
        )
        parts += [
            f'<g class="chart-alert"><title>{escape(f"Alert {flag.number}: {flag.text}")}</title>',
            f'<path class="chart-flag-line" d="M{at:.1f} 23L{x:.1f} 30V{bottom}" fill="none" '
            f'stroke="{INK}" stroke-width="1.4" stroke-dasharray="7 3 1.5 3"/>',
            f'<path class="chart-flag" d="{sign}" fill="{INK}"/>',
            f'<text class="chart-flag-text" x="{at:.1f}" y="16.5" text-anchor="middle" '
            f'font-weight="bold" fill="{PAPER}">{flag.number}</text></g>',
        ]
    return parts


def _highest(panel: Panel) -> float:
    high = panel.trace.high[np.isfinite(panel.trace.high)]
    top = max(float(high.max()) if len(high) else 0.0, panel.high)
    return min(top, _HIGHEST * panel.high) * 1.06


def _band_words(panel: Panel, units: Units, room: int) -> str:
    low = words.figure(panel.low, panel.kind, units)
    high = words.figure(panel.high, panel.kind, units)
    if panel.name == "pressure":
        return f"tips: {low} to {high}"
    target = words.figure(panel.target, panel.kind, units)
    asked = "asked" if panel.name == "rate" else "expected"
    # A phone has no room for more than what one would look up.
    return f"{asked} {target}" + (", dotted: 5 % to either side" if room > 420 else "")


def _decimals(highest: float) -> int:
    return 0 if highest >= 20 else 1 if highest >= 3 else 2
