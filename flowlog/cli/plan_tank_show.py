"""A tank plan on the terminal: fills as columns, then rates, then where each stop falls."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from flowlog.planning import tank_words as words
from flowlog.planning.planfile import PlanInput
from flowlog.planning.tank import Fill, StopShare, TankPlan
from flowlog.review.words import duration
from flowlog.units import Kind, show

_WIDTH: int = 79
_MOST_COLUMNS: int = 4


@dataclass(frozen=True, slots=True)
class _Column:
    """Fills in a row that are alike."""

    first: int
    last: int
    fill: Fill

    @property
    def head(self) -> str:
        if self.first == self.last:
            return f"Fill {self.first}"
        joint = "," if self.last == self.first + 1 else " to"
        return f"Fills {self.first}{joint} {self.last}\neach"


def tank_plan_view(
    plan: TankPlan, given: PlanInput, rig_warning: str | None = None
) -> RenderableType:
    """Everything `flowlog plan tank` says.

    Args:
        rig_warning: what the rig's calibrations say against the plan.
    """
    parts: list[RenderableType] = [_head(plan, given), Text("")]
    columns = _columns(plan)
    for begin in range(0, len(columns), _MOST_COLUMNS):
        part = columns[begin : begin + _MOST_COLUMNS]
        last = begin + _MOST_COLUMNS >= len(columns)
        parts += [Text("INTO THE TANK", style="bold"), _fills(plan, given, part, totals=last)]
        parts.append(Text(""))
    if plan.job.products:
        parts += [Text("PRODUCT ON THE GROUND", style="bold"), _rates(plan, given), Text("")]
    if len(plan.job.stops) > 1 or len(plan.fills) > 1:
        parts += [Text("STOPS", style="bold"), _stops(plan, given), Text("")]
    for warning in [*([rig_warning] if rig_warning else []), *words.tank_warnings(plan, given)]:
        parts += _lines(f"WARNING: {warning}")
    left = words.left_over(plan, given)
    if left is not None:
        parts += _lines(f"NOTE: {left}")
    parts += [Text(caution) for caution in words.CAUTIONS]
    return Group(*parts)


class _Say:
    """The person's own units for this plan."""

    def __init__(self, given: PlanInput) -> None:
        rate, tank = given.spray_rate, given.tank_volume
        self.rate_unit = rate.unit if rate else "gal/1000 ft2"
        self.volume_unit = tank.unit if tank else "gal"
        self.area_unit = given.area_unit or ("m2" if given.units == "metric" else "ft2")

    def volume(self, value: float) -> str:
        return show(value, "volume", unit=self.volume_unit)

    def rate(self, value: float) -> str:
        return show(value, "rate", unit=self.rate_unit)

    def area(self, value: float) -> str:
        kind: Kind = "area"
        small = self.area_unit.casefold() in {"ac", "acre", "acres", "ha", "hectare", "hectares"}
        return show(value, kind, unit=self.area_unit, decimals=3 if small else 0)


def _head(plan: TankPlan, given: PlanInput) -> Text:
    job, say = plan.job, _Say(given)
    stops = f" in {len(job.stops)} stops" if len(job.stops) > 1 else ""
    kept = ""
    if job.unsprayable_m3:
        kept = f", of which {say.volume(job.unsprayable_m3)} cannot be sprayed"
    fills = f"{len(plan.fills)} fill{'s' if len(plan.fills) > 1 else ''}"
    rows = (
        ("Area", f"{say.area(job.area_m2)}{stops}"),
        ("Spray rate", say.rate(job.rate_m3_m2)),
        ("Tank", f"{say.volume(job.tank_m3)}{kept}"),
        ("One tank covers", say.area(job.area_per_tank_m2) + _lasts(plan, given)),
        ("Spray needed", f"{say.volume(job.spray_m3)}: {fills}"),
    )
    title = [given.name] if given.name else []
    return Text("\n".join([*title, *(f"  {name:<17}{value}" for name, value in rows)]))


def _lasts(plan: TankPlan, given: PlanInput) -> str:
    """How long at the rig's calibrated speed, without turns and ways."""
    rig, job = given.rig, plan.job
    if rig is None:
        return ""
    seconds = job.area_per_tank_m2 / (rig.work.speed_m_s * rig.boom.effective_width_m)
    speed = show(rig.work.speed_m_s, "speed", rig.units)
    return f" in {duration(seconds)} of spraying at {speed}"


def _columns(plan: TankPlan) -> list[_Column]:
    found: list[_Column] = []
    for number, fill in enumerate(plan.fills, 1):
        if found and _alike(found[-1].fill, fill):
            found[-1] = _Column(found[-1].first, number, found[-1].fill)
        else:
            found.append(_Column(number, number, fill))
    return found


def _alike(one: Fill, other: Fill) -> bool:
    pairs = [(one.added_m3, other.added_m3), (one.level_m3, other.level_m3)]
    pairs += [(a.measured, b.measured) for a, b in zip(one.doses, other.doses, strict=True)]
    return all(math.isclose(a, b, rel_tol=1e-9) for a, b in pairs)


def _fills(plan: TankPlan, given: PlanInput, columns: list[_Column], *, totals: bool) -> Table:
    say = _Say(given)
    table = _plain_table()
    table.add_column("")
    for column in columns:
        table.add_column(column.head, justify="right")
    if totals:
        table.add_column("Total", justify="right")

    def row(name: str, cells: list[str], total: str, style: str | None = None) -> None:
        table.add_row(Text(name), *cells, *([total] if totals else []), style=style)

    row("Water", [say.volume(c.fill.water_m3) for c in columns], say.volume(plan.water_m3))
    for number, product in enumerate(plan.job.products):
        row(
            product.name,
            [product.show_measured(c.fill.doses[number].measured) for c in columns],
            product.show_measured(plan.total(number)),
            "bold",
        )
        rounded = any(
            not math.isclose(f.doses[number].measured, f.doses[number].exact, rel_tol=1e-6)
            for f in plan.fills
        )
        if rounded:
            exact = [product.show(c.fill.doses[number].exact) for c in columns]
            row("  before rounding", exact, product.show(plan.exact_total(number)), "dim")
    row("Fill up to", [say.volume(c.fill.level_m3) for c in columns], "")
    row("Covers", [say.area(c.fill.area_m2) for c in columns], say.area(plan.job.area_m2))
    return table


def _rates(plan: TankPlan, given: PlanInput) -> Table:
    area = given.rate_area_unit
    table = _plain_table()
    limited = any(product.maximum_per_m2 is not None for product in plan.job.products)
    for head in ("", "Wanted", "As measured", "Off by", *(["Label's most"] if limited else [])):
        table.add_column(head)
    for number, product in enumerate(plan.job.products):
        planned = product.rate.on_area(plan.job.rate_m3_m2)
        wanted, product_wanted = product.rate.text, product.show_per_area(planned, area)
        if wanted.replace(" ", "") != product_wanted.replace(" ", ""):
            wanted += f"\n= {product_wanted}"
        results = [fill.doses[number].per_m2 for fill in plan.fills]
        low, high = min(results), max(results)
        measured = product.show_per_area(high, area)
        least = product.show_per_area(low, area).split(" ", 1)[0]
        if least != measured.split(" ", 1)[0]:
            measured = f"{least} to {measured}"
        off = max((low, high), key=lambda value: abs(value / planned - 1.0)) / planned - 1.0
        limit = product.maximum_per_m2
        most = "" if limit is None else product.show_per_area(limit, area)
        table.add_row(
            Text(product.name),
            wanted,
            measured,
            f"{100 * off:+.1f} %" if abs(off) >= 0.0005 else "",
            *([most] if limited else []),
            style="bold red" if limit is not None and high > limit * (1 + 1e-6) else None,
        )
    return table


def _stops(plan: TankPlan, given: PlanInput) -> Table:
    say = _Say(given)
    table = _plain_table()
    table.add_column("")
    table.add_column("Area", justify="right")
    table.add_column("Spray", justify="right")
    table.add_column("From")
    for share in plan.shares:
        table.add_row(
            Text(share.stop.name), say.area(share.stop.area_m2), say.volume(share.spray_m3),
            _from_fills(share, say),
        )  # fmt: skip
    return table


def _from_fills(share: StopShare, say: _Say) -> str:
    if share.first_fill == share.last_fill:
        return f"fill {share.first_fill}"
    joint = "and" if share.last_fill == share.first_fill + 1 else "to"
    fills = f"fills {share.first_fill} {joint} {share.last_fill}"
    if len(share.refill_after_m2) > 3:
        return f"{fills}, first refill after {say.area(share.refill_after_m2[0])}"
    return f"{fills}, refill after {', '.join(say.area(area) for area in share.refill_after_m2)}"


def _plain_table() -> Table:
    return Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0), show_edge=False)


def _lines(text: str) -> list[Text]:
    wrapped = textwrap.wrap(text, _WIDTH, subsequent_indent="  ", break_on_hyphens=False)
    return [Text(line) for line in wrapped]
