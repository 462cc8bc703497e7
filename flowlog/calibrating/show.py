"""A result as a person reads it: what was found, what to do, how sure and why."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from flowlog.calibrating.bars import tip_bars, what_to_do
from flowlog.calibrating.words import day, gist, plus_minus, signed
from flowlog.calibration.apply import Result
from flowlog.calibration.baseline import BaselineResult
from flowlog.calibration.capped import ANSWER, CappedResult
from flowlog.calibration.catch import CatchResult
from flowlog.calibration.course import CourseResult
from flowlog.calibration.faults import percent
from flowlog.calibration.gauge import GaugeResult
from flowlog.calibration.meter import MeterResult
from flowlog.calibration.uncertainty import Budget
from flowlog.rig.model import Rig
from flowlog.store.rows import StoredCalibration
from flowlog.units import Units, show

TITLES = {
    "course": "Course: the speed",
    "catch": "Catch: what each tip gives",
    "meter": "Meter: pulses per volume",
    "gauge": "Gauge: zero and span",
    "baseline": "Baseline: the healthy boom",
    "capped": "Capped tip: how the pressure answers",
}


def result_view(
    result: Result, units: Units, *, whole: bool = False, bars: bool = True
) -> RenderableType:
    """What was found; with `whole` also the uncertainty budget, line by line.

    Args:
        bars: False where the picture of the tips was just shown.
    """
    lines = [_indented(line) for line in _lines(result, units)]
    parts: list[RenderableType] = []
    if isinstance(result, CatchResult):
        parts += [tip_bars(result, units)] if bars else []
        parts += [_indented(what_to_do(tip)) for tip in result.named()]
    parts += lines
    parts += [_indented(f"NOTE: {remark.text}", "yellow") for remark in result.remarks]
    if whole:
        for one in budgets(result):
            parts += [Text(""), budget_view(one, units)]
    return Group(*parts)


def _indented(line: str, style: str = "") -> RenderableType:
    return Padding(Text(line.strip(), style=style), (0, 0, 0, 2), expand=False)


def budgets(result: Result) -> list[Budget]:
    """What a result says, each with its components."""
    match result:
        case CourseResult():
            return [result.speed]
        case CatchResult():
            return [one for one in (result.total, result.rate) if one is not None]
        case MeterResult():
            return [result.factor]
        case GaugeResult():
            return [result.zero, result.gain]
        case BaselineResult():
            return [result.flow]
        case CappedResult():
            return [result.blocked, result.answer]


def budget_view(budget: Budget, units: Units) -> RenderableType:
    """How sure a value is: each cause of doubt, its size, and its share of the whole."""
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
    table.add_column("how sure, and why", max_width=36)
    for name in ("value", "u", "share"):
        table.add_column(name, justify="right", no_wrap=True)
    for row in budget.rows(units):
        table.add_row(*row)
    half = plus_minus(budget.expanded_relative) if budget.value else "-"
    if budget.kind == "pressure":
        half = f"+-{show(budget.expanded, 'pressure', units)}"
    elif budget_is_offset(budget):
        half = f"+-{budget.expanded:.2g}"
    dof = "many" if budget.dof > 200 else f"{budget.dof:.0f}"
    foot = f"95 %: {half} (k = {budget.coverage:.2f}, {dof} degrees of freedom)"
    return Group(table, Text(foot))


def _lines(result: Result, units: Units) -> list[str]:
    match result:
        case CourseResult():
            runs = ", ".join(f"{seconds:g}" for seconds in result.seconds)
            return [
                f"  speed {gist(result, units)} (95 %)",
                f"  {show(result.length_m, 'length', units)} in {runs} s; mean "
                f"{result.mean_s:.2f} s, spread {percent(result.spread_share)}",
            ]
        case CatchResult():
            return _catch_lines(result, units)
        case MeterResult():
            return _meter_lines(result, units)
        case GaugeResult():
            return [
                f"  the zero was off by {signed(result.zero_error_pa, 'pressure', units)} "
                f"+-{show(result.zero.expanded, 'pressure', units, decimals=2)}, the span by "
                f"{100 * result.gain_error:+.2f} % +-{percent(result.gain.expanded, 2)} (95 %)",
                "  largest residual "
                + show(result.largest_residual_pa, "pressure", units, decimals=2)
                + (
                    f", down minus up {signed(result.hysteresis_pa, 'pressure', units)}"
                    if result.hysteresis_pa is not None
                    else ""
                ),
            ]
        case BaselineResult():
            return _baseline_lines(result, units)
        case CappedResult():
            return _capped_lines(result, units)


def _catch_lines(result: CatchResult, units: Units) -> list[str]:
    total = show(result.total_m3_s, "flow", units)
    lines = [f"  boom {total} {plus_minus(result.total.expanded_relative)} (95 %)"]
    if result.rate is not None and result.rate_m3_m2 is not None:
        rates = [
            show(result.rate_m3_m2, "rate", unit=unit, decimals=decimals)
            for unit, decimals in (("gal/1000 ft2", 2), ("gal/ac", 1), ("L/ha", 0))
        ]
        sure = plus_minus(result.rate.expanded_relative)
        lines.append(f"  rate {' = '.join(rates)} {sure} (95 %)")
    else:
        lines.append("  no rate: the course is not calibrated")
    return lines


def _meter_lines(result: MeterResult, units: Units) -> list[str]:
    factor = show(result.factor.value, "pulses_per_volume", units)
    at = show(result.working_flow_m3_s, "flow", units)
    lines = [f"  {factor} at {at}; it makes every volume and rate sure to "
             f"{plus_minus(result.rate_share_95)} (95 %)"]  # fmt: skip
    repeat = f"  repeatability {percent(result.repeatability, 2)}"
    if result.linearity is not None:
        repeat += f", linearity {percent(result.linearity, 2)} over {len(result.points)} flows"
    lines.append(repeat)
    if result.change is not None:
        lines.append(f"  {100 * result.change:+.1f} % beside the rig file")
    if result.model != "constant":
        curve = ", ".join(
            f"{show(flow, 'flow', units)}: {show(pulses, 'pulses_per_volume', units)}"
            for flow, pulses in result.curve
        )
        lines.append(f"  along the flow ({result.model}): {curve}")
    return lines


def _baseline_lines(result: BaselineResult, units: Units) -> list[str]:
    law = f"n = {result.exponent:.3g} ({result.exponent_was})"
    steps = ", ".join(
        f"{show(step.pressure_pa, 'pressure', units)} {step.seconds:.0f} s" for step in result.steps
    )
    goal = "reached" if result.good_enough else "not reached"
    lines = [
        f"  {gist(result, units)} (95 %), {law}",
        f"  held: {steps}",
        f"  K's standard uncertainty {percent(result.flow.relative, 2)}; "
        f"{percent(result.target_share)} wanted: {goal}",
    ]
    if result.noise.sigma > 1e-4:
        lines.append(
            f"  noise {percent(result.noise.sigma)} a tick, correlated over "
            f"{result.noise.correlation_s:.1f} s"
        )
    if result.settle_s is not None:
        lines.append(f"  settled {result.settle_s:.1f} s after opening")
    return lines


def _capped_lines(result: CappedResult, units: Units) -> list[str]:
    low, high = result.blocked.interval
    moved = math.expm1(result.rise.value)
    way = "rises" if moved >= 0.0 else "falls"
    sure = "" if result.told_surely else "as far as these sprayings tell, "
    held = ", ".join(
        f"{'capped' if one.capped else 'all tips'} "
        f"{show(one.flow_m3_s, 'flow', units, decimals=2)} at "
        f"{show(one.pressure_pa, 'pressure', units)}"
        for one in result.sprayings
    )
    return [
        f"  One tip of {result.tips} capped: flowlog sees {result.blocked.value:.2f} of a tip "
        f"missing ({low:.2f} to {high:.2f}).",
        f"  The pressure {way} by {percent(abs(moved))}: {sure}a blocked tip and a flow "
        f"sensor that reads low {result.told_apart} be told apart on this rig.",
        f"  answer {result.share:.2f} +-{result.answer.expanded:.2f} (95 %) of the fall of flow "
        "over root pressure",
        f"  {held}",
        "  It holds for this pump, regulator and setting: cap a tip again after a change of them.",
    ]


def history_view(rows: Sequence[tuple[StoredCalibration, Result | None, bool]], rig: Rig,
                 units: Units) -> RenderableType:  # fmt: skip
    """All calibrations of a rig, oldest first; a star for those in use."""
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
    for name in ("no.", "what", "made", "by", "says (95 %)"):
        table.add_column(name, justify="right" if name == "no." else "left")
    for one, result, used in rows:
        says = gist(result, units) if result is not None else "cannot be read by this flowlog"
        star = "*" if used else ""
        table.add_row(
            f"{one.id}", f"{one.row.kind}{star}", day(one.row.made_wall_us), one.row.made_by, says
        )
    if not rows:
        return Text(f"{rig.name}: nothing was calibrated yet.")
    return Group(
        Text(f"{rig.name}: {len(rows)} calibration{'' if len(rows) == 1 else 's'}", style="bold"),
        table,
        Text("* in use: the newest valid one of its kind (a catch judges tips and sets nothing)"),
    )


def comparison_view(
    first: tuple[StoredCalibration, Result], second: tuple[StoredCalibration, Result], units: Units
) -> RenderableType:
    """Two results of one kind: each value, the change, and whether it is more than doubt."""
    (one, old), (two, new) = first, second
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
    for name in ("value", f"number {one.id}", f"number {two.id}", "change", "beyond doubt?"):
        table.add_column(name, justify="left" if name == "value" else "right")
    for before, after in zip(budgets(old), budgets(new), strict=False):
        change = after.value - before.value
        # What both have in common is counted twice here: careful, not exact.
        doubt = 2.0 * (before.u**2 + after.u**2) ** 0.5
        table.add_row(
            before.name,
            _value(before, units),
            _value(after, units),
            _change(before, change, units),
            "yes" if abs(change) > doubt else "no",
        )
    if isinstance(old, CatchResult) and isinstance(new, CatchResult):
        for was, now in zip(old.tips, new.tips, strict=False):
            if was.flow_m3_s and now.flow_m3_s:
                share = now.flow_m3_s / was.flow_m3_s - 1.0
                table.add_row(
                    f"tip {was.tip}", show(was.flow_m3_s, "flow", units),
                    show(now.flow_m3_s, "flow", units), f"{100 * share:+.1f} %", "",
                )  # fmt: skip
    title = f"{one.row.kind}: {day(one.row.made_wall_us)} beside {day(two.row.made_wall_us)}"
    return Group(Text(title, style="bold"), table)


def _value(budget: Budget, units: Units) -> str:
    if budget.kind is None:
        return f"{budget.value:.4f}"
    return show(budget.value, budget.kind, units)


def _change(before: Budget, change: float, units: Units) -> str:
    if before.kind == "pressure":
        return signed(change, "pressure", units)
    if budget_is_offset(before):
        return f"{change:+.2f}"
    return f"{100 * change / before.value:+.1f} %"


def budget_is_offset(budget: Budget) -> bool:
    """Whether a value may be near zero, so that shares of it mean nothing."""
    return budget.kind == "pressure" or budget.name == ANSWER
