"""A rate plan on the terminal: the ways as a table, the refusals, and rate over pressure."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from flowlog.planning import rate_words as words
from flowlog.planning.rate import RatePlan, outside_band
from flowlog.rig.model import Rig, Units
from flowlog.units import display_unit, number_in, show

_BAR: int = 34
_WIDTH: int = 79


def rate_plan_view(
    rig: Rig, plan: RatePlan, units: Units, limits: tuple[str, str], *, ascii_only: bool
) -> RenderableType:
    """Everything `flowlog plan rate` says.

    Args:
        rig: for the limits of its meter and gauge.
        plan: the ways.
        units: in which to show them.
        limits: slowest and fastest speed as the person wrote them, for refusals.
        ascii_only: draw with plain characters.
    """
    say = words.sayer(units)
    parts: list[RenderableType] = [_head(rig, plan, say), Text("")]
    if _nothing_to_do(plan):
        parts += [Text("The rig gives that rate now: nothing needs to change.", style="bold")]
        return Group(*parts, Text(""), *_chart(plan, units, ascii_only=ascii_only))
    if plan.ways:
        parts += [Text("WAYS THAT STAY INSIDE THE BAND", style="bold"), _ways(plan, say)]
        best = plan.ways[0]
        parts += [
            *_lines(words.RANKING),
            Text(""),
            *_lines(f"Way 1: {words.change_words(plan, best, say)}."),
            *_lines(words.AFTERWARDS),
        ]
    else:
        parts += [
            Text("NO WAY STAYS INSIDE THE BAND", style="bold red"),
            *_lines("What is left: tips of another kind, with another band; or another rate."),
        ]
    if plan.refused:
        parts += [Text(""), Text("REFUSED", style="bold")]
        for way in plan.refused:
            reason = words.refusal_words(plan, way, say, limits)
            parts += _lines(f"{way.kind}: {reason}.", "  ")
    parts += [Text(""), *_chart(plan, units, ascii_only=ascii_only), Text("")]
    for note in words.notes(plan, say, rig.meter, rig.gauge):
        parts += _lines(f"NOTE: {note}")
    for caution in (words.LABEL_NOTE, words.TIPS_NOTE):
        parts += _lines(f"CAUTION: {caution}" if caution is words.LABEL_NOTE else caution)
    return Group(*parts)


def _nothing_to_do(plan: RatePlan) -> bool:
    now = plan.setting
    same = math.isclose(now.rate_m3_m2, plan.wanted_m3_m2, rel_tol=0.005)
    return same and outside_band(now.boom, now.pressure_pa) == 0


def _head(rig: Rig, plan: RatePlan, say: words.Say) -> Text:
    now = plan.setting
    rows = (
        (
            "Now",
            f"{say(now.rate_m3_m2, 'rate')} at {say(now.pressure_pa, 'pressure')} "
            f"and {say(now.speed_m_s, 'speed')}",
        ),
        (
            "Wanted",
            f"{say(plan.wanted_m3_m2, 'rate')}, "
            f"{words.times_words(plan.wanted_m3_m2 / now.rate_m3_m2, 'the rate now')}",
        ),
        ("Tips now", f"{now.boom.tips} of {words.tips_words(plan, say)}"),
        ("Each tip must give", words.needed_words(plan, say)),
        ("Band of the tips", words.band_words(plan, say)),
    )
    lines = [f"{rig.name}", *(f"  {name:<20}{value}" for name, value in rows)]
    return Text("\n".join(lines))


def _ways(plan: RatePlan, say: words.Say) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0), show_edge=False)
    table.add_column("", justify="right")
    for head in ("Change", "Tips", "Pressure", "Speed", "Drops", "Drift"):
        table.add_column(head, no_wrap=True)
    now = plan.setting
    for number, way in enumerate(plan.ways, 1):
        table.add_row(
            str(number),
            words.kind_cell(plan, way),
            words.tip_cell(way),
            say(way.pressure_pa, "pressure"),
            say(way.speed_m_s, "speed"),
            way.drops,
            way.drift,
            style="bold" if number == 1 else None,
        )
    table.add_row(
        "", "(now)", "", say(now.pressure_pa, "pressure"), say(now.speed_m_s, "speed"), "", "",
        style="dim",
    )  # fmt: skip
    return table


def _chart(plan: RatePlan, units: Units, *, ascii_only: bool) -> Iterator[Text]:
    """Rate over pressure for the tips that are fitted, one bar a pressure."""
    setting = plan.setting
    pressure_unit, rate_unit = display_unit("pressure", units), display_unit("rate", units)
    full, thin = ("#", "-") if ascii_only else ("█", "░")
    marks = _pressures(plan, units)
    most = max(setting.rate_at(pressure) for pressure in marks)
    say = words.sayer(units)
    yield Text("RATE OVER PRESSURE", style="bold").append(
        f"  tips as now, {say(setting.speed_m_s, 'speed')}; {full} inside the band, {thin} outside",
        style="not bold",
    )
    yield Text(f"  {pressure_unit:>6}  {rate_unit}")
    for pressure, word in marks.items():
        mark = word
        rate = setting.rate_at(pressure)
        inside = outside_band(setting.boom, pressure) == 0
        bar = (full if inside else thin) * max(1, round(_BAR * rate / most))
        number = f"{number_in(pressure, 'pressure', pressure_unit):.{1 if units == 'us' else 2}f}"
        shown = show(rate, "rate", units, decimals=2 if units == "us" else 0).split()[0]
        if "wanted" in mark and not inside:
            mark += ", refused"
        line = f"  {number:>6}  {shown:>6}  {bar:<{_BAR}}  {mark}"
        yield Text(line.rstrip(), style="bold" if "now" in mark or "wanted" in mark else "")


def _pressures(plan: RatePlan, units: Units) -> dict[float, str]:
    """Pressures to draw, in rising order, with a word for those that matter."""
    setting = plan.setting
    boom = setting.boom
    wanted = setting.pressure_pa * (plan.wanted_m3_m2 / setting.rate_m3_m2) ** 2
    named: dict[float, str] = {}
    # One bar many times as long as the others would flatten what the picture is for.
    drawn = boom.pressure_low_pa / 20 <= wanted <= boom.pressure_high_pa * 4
    for pressure, word in (
        (boom.pressure_low_pa, "band begins"),
        (boom.pressure_high_pa, "band ends"),
        (setting.pressure_pa, "now"),
        *([(wanted, "wanted")] if drawn else []),
    ):
        same = next((p for p in named if math.isclose(p, pressure, rel_tol=0.01)), None)
        if same is None:
            named[pressure] = word
        else:
            named[same] = f"{named[same]}, {word}"
    unit = display_unit("pressure", units)
    top = max(boom.pressure_high_pa * 1.25, min(max(named), boom.pressure_high_pa * 4.0))
    step = _round_step(number_in(top, "pressure", unit) / 7.0)
    one = 1.0 / number_in(1.0, "pressure", unit)
    grid = [step * one * k for k in range(1, 16) if step * one * k <= top * 1.001]
    # A named pressure stands in for a step close to it.
    kept = [p for p in grid if all(abs(p - q) > 0.3 * step * one for q in named)]
    return dict(sorted([*named.items(), *((p, "") for p in kept)]))


def _round_step(rough: float) -> float:
    """The next of 1, 2, 2.5, 5 times a power of ten."""
    size = 10.0 ** math.floor(math.log10(rough))
    return next(size * k for k in (1.0, 2.0, 2.5, 5.0, 10.0) if size * k >= rough * 0.999)


def _lines(text: str, indent: str = "") -> list[Text]:
    wrapped = textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_on_hyphens=False,
    )
    return [Text(line) for line in wrapped]
