"""The catch as a picture for the terminal: a bar for each tip, in words too."""

from __future__ import annotations

from typing import Final

from rich.console import Group, RenderableType
from rich.text import Text

from flowlog.calibration.catch import CatchResult, TipResult
from flowlog.units import Units, display_unit, number_in

_HALF: Final = 15
"""Columns on each side of the mean, one a per cent."""
STYLES: Final = {
    "fine": "green", "clean and recheck": "bold yellow", "replace": "bold red",
    "not caught": "bold magenta",
}  # fmt: skip
WORDS: Final = {
    "fine": "fine", "clean and recheck": "CLEAN, catch again", "replace": "REPLACE",
    "not caught": "NOT CAUGHT",
}  # fmt: skip


def tip_bars(result: CatchResult, units: Units) -> RenderableType:
    """One line a tip, from the left end of the boom: flow, share of the mean, bar, what to do.

    A bar goes from the mean to the tip's flow, a column a per cent; a colon marks the limit of
    the mean.
    """
    limit = round(100 * result.limits.of_mean)
    head = Text(f"  tip {_unit(units):>8}  of mean  {_scale(limit)}  what to do", style="bold")
    lines = [head, *(_line(tip, limit, units) for tip in result.tips)]
    mean = number_in(result.mean_m3_s, "flow", _unit(units))
    foot = f"  mean {mean:.3f} {_unit(units)}"
    if result.new_tip_m3_s is not None:
        new = number_in(result.new_tip_m3_s, "flow", _unit(units))
        foot += f", a new tip gives {new:.3f}"
    if result.cv is not None:
        foot += f"; spread of the tips (CV) {100 * result.cv:.1f} %"
    return Group(*lines, Text(foot))


def what_to_do(tip: TipResult) -> str:
    """A sentence for one tip that is named."""
    match tip.verdict:
        case "not caught":
            return f"Tip {tip.tip}: not caught."
        case "replace":
            return f"Tip {tip.tip}: replace it ({_against(tip)})."
        case "clean and recheck":
            return f"Tip {tip.tip}: clean tip and strainer, catch it again ({_against(tip)})."
    return f"Tip {tip.tip}: fine."


def _against(tip: TipResult) -> str:
    said = [f"{100 * (tip.of_mean or 0.0):+.1f} % of the mean"]
    if tip.of_new is not None:
        said.append(f"{100 * tip.of_new:+.1f} % of a new tip")
    limits = f"; limit: {' and '.join(tip.beyond)}" if tip.beyond else ""
    doubt = "" if tip.sure else "; a close call, catch it once more"
    return ", ".join(said) + limits + doubt


def _unit(units: Units) -> str:
    return display_unit("flow", units)


def _scale(limit: int) -> str:
    marks = [" "] * (2 * _HALF + 1)
    for text, middle in (
        (f"-{_HALF}%", 1), (f"-{limit}", _HALF - limit), ("0", _HALF), (f"+{limit}", _HALF + limit),
        (f"+{_HALF}%", 2 * _HALF - 2),
    ):  # fmt: skip
        start = max(0, min(middle - len(text) // 2, len(marks) - len(text)))
        marks[start : start + len(text)] = text
    return "".join(marks)


def _line(tip: TipResult, limit: int, units: Units) -> Text:
    style = STYLES[tip.verdict]
    line = Text(f"  {tip.tip:>3} ")
    if tip.flow_m3_s is None or tip.of_mean is None:
        line.append(f"{'-':>8}  {'-':>7}  {_bar(None, limit)}  ")
    else:
        flow = number_in(tip.flow_m3_s, "flow", _unit(units))
        line.append(f"{flow:>8.3f}  {100 * tip.of_mean:>+6.1f}%  ")
        line.append(_bar(tip.of_mean, limit), style=style)
        line.append("  ")
    line.append(WORDS[tip.verdict] + ("" if tip.sure else " (close)"), style=style)
    return line


def _bar(of_mean: float | None, limit: int) -> str:
    cells = [" "] * (2 * _HALF + 1)
    cells[_HALF - limit] = cells[_HALF + limit] = ":"
    if of_mean is not None:
        percent = round(100 * of_mean)
        end = _HALF + max(-_HALF, min(_HALF, percent))
        for cell in range(min(end, _HALF), max(end, _HALF) + 1):
            cells[cell] = "█"
        if abs(percent) > _HALF:
            cells[end] = "»" if percent > 0 else "«"
    cells[_HALF] = "|"
    return "".join(cells)
