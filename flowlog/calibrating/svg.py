"""The catch as a picture for a page: bars as they hang on the boom, from the left."""

from __future__ import annotations

from html import escape
from typing import Final

from flowlog.calibrating.bars import WORDS
from flowlog.calibration.catch import CatchResult
from flowlog.units import Units, display_unit, number_in, show

_BAR: Final = 34
_GAP: Final = 14
_LEFT: Final = 66
_TOP: Final = 58
_HEIGHT: Final = 220
_FILL: Final = {
    "fine": "#2f7d4f", "clean and recheck": "#d79b00", "replace": "#b3261e", "not caught": "none"
}  # fmt: skip


def catch_svg(result: CatchResult, units: Units, title: str = "") -> str:
    """The picture as SVG text: flow of each tip, the band about the mean, a new tip's flow.

    What to do stands in words above a bar as well, so that nothing depends on colours.
    """
    count = len(result.tips)
    width = max(_LEFT + count * (_BAR + _GAP) + _GAP + 130, 420)
    height = _TOP + _HEIGHT + 62
    unit = display_unit("flow", units)
    flows = [tip.flow_m3_s or 0.0 for tip in result.tips]
    top_flow = 1.15 * max([*flows, result.mean_m3_s, result.new_tip_m3_s or 0.0])

    def y(flow_m3_s: float) -> float:
        return _TOP + _HEIGHT * (1.0 - flow_m3_s / top_flow)

    right = _LEFT + count * (_BAR + _GAP) + _GAP
    low = result.mean_m3_s * (1.0 - result.limits.of_mean)
    high = result.mean_m3_s * (1.0 + result.limits.of_mean)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" font-family="sans-serif" font-size="13" role="img">',
        f"<title>{escape(title or 'Catch of each tip')}</title>",
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        f'<text x="{_LEFT}" y="22" font-size="16" font-weight="bold">{escape(title)}</text>',
        f'<rect x="{_LEFT}" y="{y(high):.1f}" width="{right - _LEFT}" '
        f'height="{y(low) - y(high):.1f}" fill="#2f7d4f" fill-opacity="0.15"/>',
    ]
    parts += _level(y(result.mean_m3_s), right, f"mean {show(result.mean_m3_s, 'flow', units)}", "")
    if result.new_tip_m3_s is not None:
        apart = abs(y(result.new_tip_m3_s) - y(result.mean_m3_s)) > 14
        text = f"new tip {show(result.new_tip_m3_s, 'flow', units)}"
        parts += _level(y(result.new_tip_m3_s), right, text, "6 4", 0 if apart else 16)
    for number in range(5):
        flow = top_flow * number / 4
        parts.append(
            f'<text x="{_LEFT - 8}" y="{y(flow) + 4:.1f}" text-anchor="end">'
            f"{number_in(flow, 'flow', unit):.2f}</text>"
        )
    parts.append(f'<text x="{_LEFT - 8}" y="{_TOP - 22}" text-anchor="end">{escape(unit)}</text>')
    for index, tip in enumerate(result.tips):
        x = _LEFT + _GAP + index * (_BAR + _GAP)
        flow = tip.flow_m3_s or 0.0
        dashed = ' stroke="#555" stroke-dasharray="3 3"' if tip.flow_m3_s is None else ""
        shown = flow if tip.flow_m3_s is not None else result.mean_m3_s
        parts.append(
            f'<rect class="tip" x="{x}" y="{y(shown):.1f}" width="{_BAR}" '
            f'height="{_TOP + _HEIGHT - y(shown):.1f}" fill="{_FILL[tip.verdict]}"{dashed}/>'
        )
        middle = x + _BAR / 2
        if tip.of_mean is not None:
            parts.append(
                f'<text x="{middle}" y="{y(shown) - 5:.1f}" text-anchor="middle" font-size="11">'
                f"{100 * tip.of_mean:+.0f} %</text>"
            )
        parts.append(
            f'<text x="{middle}" y="{_TOP + _HEIGHT + 18}" text-anchor="middle" '
            f'font-weight="bold">{tip.tip}</text>'
        )
    named = [f"tip {tip.tip}: {WORDS[tip.verdict]}" for tip in result.named()]
    said = "; ".join(named) if named else "all tips fine"
    parts.append(f'<text x="{_LEFT}" y="{height - 14}">{escape(said)}</text>')
    parts.append("</svg>")
    return "\n".join(parts) + "\n"


def _level(y: float, right: float, text: str, dash: str, below: int = 0) -> list[str]:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return [
        f'<line x1="{_LEFT}" y1="{y:.1f}" x2="{right}" y2="{y:.1f}" stroke="#222"{dashed}/>',
        f'<text x="{right + 6}" y="{y + 4 + below:.1f}">{escape(text)}</text>',
    ]
