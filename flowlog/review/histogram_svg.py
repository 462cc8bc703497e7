"""The histogram of a rate as SVG; `flowlog.review.chart_svg` says what holds for all drawings."""

from __future__ import annotations

from html import escape
from typing import Final

from flowlog.review import words
from flowlog.review.axis import round_marks
from flowlog.review.chart_svg import BAND, INK, PAPER, SOFT, SPREAD
from flowlog.review.histogram import Histogram

_LEFT: Final = 58
_RIGHT: Final = 14
_TOP: Final = 40
_BOTTOM: Final = 46


def histogram_svg(
    found: Histogram,
    *,
    width: int = 640,
    height: int = 260,
    title: str = "Time by deviation of the rate",
    ident: str = "histogram",
    most_share: float | None = None,
) -> str:
    """One `<svg>` element: percent of the judged time in each step of 2.5 %.

    Args:
        most_share: upper end of the scale, to draw two of them alike.
    """
    total = found.total_s or 1.0
    shares = [found.below_s / total, *(found.seconds / total).tolist(), found.above_s / total]
    count = len(shares)
    # The two ends hold all that is farther off: a gap sets them apart.
    step = (width - _LEFT - _RIGHT) / (count + 1)
    bottom, inner = height - _BOTTOM, height - _BOTTOM - _TOP
    highest = max(most_share or 0.0, *shares, 0.05)

    def x(place: float) -> float:
        """Left edge of a bin between the two ends; `place` counts them from 0."""
        return _LEFT + (1.5 + place) * step

    middle = (count - 2) / 2
    five = round(0.05 / float(found.edges[1] - found.edges[0]))
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" role="img" '
        f'aria-labelledby="{ident}-title {ident}-desc" font-family="sans-serif" font-size="13">',
        f'<title id="{ident}-title">{escape(title)}</title>',
        f'<desc id="{ident}-desc">{escape(described(found))}</desc>',
        f'<rect class="chart-paper" width="{width}" height="{height}" fill="{PAPER}"/>',
        f'<rect class="chart-band" x="{x(middle - five):.1f}" y="{_TOP}" '
        f'width="{2 * five * step:.1f}" height="{inner}" fill="{BAND}"/>',
        f'<text class="chart-ink" x="{x(middle):.1f}" y="{_TOP - 8}" text-anchor="middle" '
        f'fill="{INK}">within 5 %: {_percent(found.within(0.05))}</text>',
    ]
    for mark in round_marks(0.0, 100 * highest, 5):
        y = bottom - inner * mark / (100 * highest)
        parts.append(
            f'<path class="chart-grid" d="M{_LEFT} {y:.1f}H{width - _RIGHT}" fill="none" '
            f'stroke="{SPREAD}" stroke-width="0.6"/>'
            f'<text class="chart-soft" x="{_LEFT - 6}" y="{y + 4.5:.1f}" text-anchor="end" '
            f'fill="{SOFT}">{mark:.0f} %</text>'
        )
    for place, share in enumerate(shares):
        end = place in (0, count - 1)
        left = _LEFT if place == 0 else x(place - 1) + (0.5 * step if place == count - 1 else 0.0)
        high = inner * share / highest
        dashes = ' stroke-dasharray="3 2"' if end else ""
        parts.append(
            f'<rect class="chart-bar" x="{left + 0.5:.1f}" y="{bottom - high:.1f}" '
            f'width="{step - 1:.1f}" height="{high:.1f}" fill="{SPREAD}" stroke="{INK}"{dashes}/>'
        )
    for text, at in (
        ("-20", x(middle - 4 * five)),
        ("-10", x(middle - 2 * five)),
        ("asked", x(middle)),
        ("+10", x(middle + 2 * five)),
        ("+20 %", x(middle + 4 * five)),
    ):
        parts.append(
            f'<text class="chart-soft" x="{at:.1f}" y="{bottom + 17}" text-anchor="middle" '
            f'fill="{SOFT}">{text}</text>'
        )
    parts += [
        f'<text class="chart-soft" x="{_LEFT}" y="{height - 8}" fill="{SOFT}">lower</text>',
        f'<text class="chart-soft" x="{width - _RIGHT}" y="{height - 8}" text-anchor="end" '
        f'fill="{SOFT}">higher</text>',
        f'<text class="chart-ink" x="{x(middle):.1f}" y="{height - 8}" text-anchor="middle" '
        f'fill="{INK}">rate, against the asked one</text>',
        f'<path class="chart-axis" d="M{_LEFT} {bottom}H{width - _RIGHT}" stroke="{INK}"/>',
        "</svg>",
    ]
    return "\n".join(parts)


def described(found: Histogram) -> str:
    """What is to be seen, in words."""
    if not found.total_s:
        return "Nothing was sprayed long enough to be judged."
    return (
        f"Of {words.duration(found.total_s)} of settled spraying, {_percent(found.within(0.05))} "
        f"within 5 % of the asked rate and {_percent(found.within(0.10))} within 10 %."
    )


def _percent(share: float | None) -> str:
    return "--" if share is None else words.percent(share)
