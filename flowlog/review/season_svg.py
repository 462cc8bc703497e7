"""The season's trend as SVG; `flowlog.review.chart_svg` says what holds for all drawings."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from html import escape
from typing import Final

from flowlog.review import words
from flowlog.review.axis import round_marks
from flowlog.review.chart_svg import BAND, INK, PAPER, SOFT, SPREAD
from flowlog.review.season import Point, Season

_LEFT: Final = 58
_RIGHT: Final = 16
_TOP: Final = 60
_BOTTOM: Final = 48
_BETWEEN: Final = 40
_HEIGHT: Final = 190
_MOST_QUARTERS: Final = 200

_Value = Callable[[Point], float | None]


def season_svg(found: Season, *, width: int = 960, ident: str = "season") -> str:
    """One `<svg>` element: above what the boom passed of what new tips pass, below of what it
    passed when healthy on the same route, in percent, along the hours of spraying.
    """
    height = _TOP + 2 * _HEIGHT + _BETWEEN + _BOTTOM
    inner = width - _LEFT - _RIGHT
    hours = max(found.hours, 0.25)

    def x(at_h: float) -> float:
        return _LEFT + inner * at_h / hours

    bottom = height - _BOTTOM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" role="img" '
        f'aria-labelledby="{ident}-title {ident}-desc" font-family="sans-serif" font-size="13">',
        f'<title id="{ident}-title">What the boom passes, over the season</title>',
        f'<desc id="{ident}-desc">{escape(described(found))}</desc>',
        f'<rect class="chart-paper" width="{width}" height="{height}" fill="{PAPER}"/>',
    ]
    parts += _panel(
        found, x, _TOP, "Of what new tips pass", lambda one: one.quarter.of_new_tips, inner, 0.1
    )
    second = _TOP + _HEIGHT + _BETWEEN
    title = "Of what it passed healthy on the same route"
    parts += _panel(found, x, second, title, lambda one: one.quarter.share, inner, 0.05)
    parts += [
        f'<text class="chart-soft" x="{x(mark):.1f}" y="{bottom + 17}" text-anchor="middle" '
        f'fill="{SOFT}">{mark:g}</text>'
        for mark in round_marks(0.0, hours, max(2, inner // 90))
    ]
    parts.append(
        f'<text class="chart-ink" x="{_LEFT + inner / 2:.0f}" y="{height - 8}" '
        f'text-anchor="middle" fill="{INK}">hours of spraying</text>'
    )
    parts += _starts(found, x, second + _HEIGHT)
    parts += _changes(found, x, bottom)
    parts.append("</svg>")
    return "\n".join(parts)


def described(found: Season) -> str:
    """What is to be seen, in words."""
    told = [f"{len(found.starts)} routes, {found.hours:.1f} hours of spraying"]
    of_new = [one.quarter.of_new_tips for one in found.points if one.quarter.of_new_tips]
    if of_new:
        told.append(
            f"at first {words.percent(of_new[0])} of what new tips pass, "
            f"at last {words.percent(of_new[-1])}"
        )
    told += [f"{one.text} from route {one.route} on" for one in found.changes]
    return ". ".join(told) + "."


def _panel(
    found: Season,
    x: Callable[[float], float],
    top: int,
    title: str,
    value: _Value,
    inner: int,
    least: float,
) -> list[str]:
    known = [(one, share) for one in found.points if (share := value(one)) is not None]
    shares = [share for _, share in known] or [1.0]
    # Never so narrow that noise looks like a trend.
    low, high = min(*shares, 1.0 - least), max(*shares, 1.0 + least)
    low, high = low - 0.05 * (high - low), high + 0.05 * (high - low)

    def y(share: float) -> float:
        return top + _HEIGHT * (1.0 - (share - low) / (high - low))

    right = _LEFT + inner
    parts = [
        f'<rect class="chart-band" x="{_LEFT}" y="{y(min(1.05, high)):.1f}" width="{inner}" '
        f'height="{y(max(0.95, low)) - y(min(1.05, high)):.1f}" fill="{BAND}"/>',
        f'<path class="chart-edge" d="M{_LEFT} {y(1.0):.1f}H{right}" fill="none" stroke="{SOFT}" '
        'stroke-dasharray="10 5"/>',
        f'<path class="chart-grid" d="M{_LEFT} {top}V{top + _HEIGHT}H{right}" fill="none" '
        f'stroke="{SPREAD}"/>',
        f'<text class="chart-ink" x="{_LEFT}" y="{top - 7}" fill="{INK}">'
        f'<tspan font-weight="bold">{escape(title)}</tspan>, %; shaded: 5 % to either side</text>',
    ]
    parts += [
        f'<text class="chart-soft" x="{_LEFT - 6}" y="{y(mark / 100) + 4.5:.1f}" '
        f'text-anchor="end" fill="{SOFT}">{mark:.0f}</text>'
        for mark in round_marks(100 * low, 100 * high, 5)
    ]
    return parts + (_routes(known, x, y) if by_route(found) else _quarters(known, x, y))


def by_route(found: Season) -> bool:
    """Whether there are so many quarter hours that each route is one point."""
    return len(found.points) > _MOST_QUARTERS


def _quarters(
    known: list[tuple[Point, float]], x: Callable[[float], float], y: Callable[[float], float]
) -> list[str]:
    line, dots, route = [], [], None
    for one, share in known:
        middle = x(one.begin_h + one.quarter.seconds / 7200)
        # A line within a route only: between two there were pauses, and hands on the boom.
        line.append(f"{'L' if one.route == route else 'M'}{middle:.1f} {y(share):.1f}")
        dots.append(_dot(middle, y(share)))
        route = one.route
    return [
        f'<path class="chart-line" d="{"".join(line)}" fill="none" stroke="{INK}" '
        'stroke-width="1.2"/>',
        f'<path class="chart-flag" d="{"".join(dots)}" fill="{INK}"/>',
    ]


def _routes(
    known: list[tuple[Point, float]], x: Callable[[float], float], y: Callable[[float], float]
) -> list[str]:
    """A dot for the mean of each route, on a bar from its smallest quarter hour to its largest."""
    bars, dots = [], []
    for _, members in itertools.groupby(known, lambda one: one[0].route):
        own = list(members)
        shares = [share for _, share in own]
        weights = [one.quarter.seconds for one, _ in own]
        mean = sum(s * w for s, w in zip(shares, weights, strict=True)) / sum(weights)
        begin, end = own[0][0], own[-1][0]
        middle = x((begin.begin_h + end.begin_h + end.quarter.seconds / 3600) / 2)
        bars.append(f"M{middle:.1f} {y(min(shares)):.1f}V{y(max(shares)):.1f}")
        dots.append(_dot(middle, y(mean)))
    return [
        f'<path class="chart-spread" d="{"".join(bars)}" fill="none" stroke="{SPREAD}" '
        'stroke-width="3"/>',
        f'<path class="chart-flag" d="{"".join(dots)}" fill="{INK}"/>',
    ]


def _dot(x: float, y: float) -> str:
    return f"M{x:.1f} {y - 3:.1f}a3 3 0 1 0 0.01 0z"


def _starts(found: Season, x: Callable[[float], float], bottom: int) -> list[str]:
    """A stroke where a route begins, with its date as far as there is room."""
    parts, free = [], -1.0
    for number, at_h, wall_us in found.starts:
        at = x(at_h)
        parts.append(
            f'<path class="chart-grid" d="M{at:.1f} {bottom - 6}v6" stroke="{INK}" fill="none"/>'
        )
        if at >= free and at < x(found.hours) - 40:
            day = words.local_time(wall_us, with_date=True)[5:10] if wall_us is not None else ""
            parts.append(
                f'<text class="chart-soft" x="{at + 2:.1f}" y="{bottom - 9}" font-size="11" '
                f'fill="{SOFT}">{escape(day or f"route {number}")}</text>'
            )
            free = at + 58
    return parts


def _changes(found: Season, x: Callable[[float], float], bottom: int) -> list[str]:
    """A line down through both panels, and on it a letter that the list below explains."""
    parts, free = [], 12.0
    for number, one in enumerate(found.changes, 1):
        at = x(one.at_h)
        sign = max(at, free)
        free = sign + 25
        dashes = "7 3 1.5 3" if one.what == "tips" else "3 3"
        form = (
            f'<circle class="chart-flag" cx="{sign:.1f}" cy="13" r="11" fill="{INK}"/>'
            if one.what == "tips"
            else f'<rect class="chart-flag" x="{sign - 10:.1f}" y="3" width="20" height="20" '
            f'fill="{INK}"/>'
        )
        parts.append(
            f"<g><title>{escape(f'{number}: {one.text}, from route {one.route} on')}</title>"
            f'<path class="chart-flag-line" d="M{sign:.1f} 24L{at:.1f} 32V{bottom}" fill="none" '
            f'stroke="{INK}" stroke-width="1.3" stroke-dasharray="{dashes}"/>{form}'
            f'<text class="chart-flag-text" x="{sign:.1f}" y="17.5" text-anchor="middle" '
            f'font-weight="bold" fill="{PAPER}">{number}</text></g>'
        )
    return parts
