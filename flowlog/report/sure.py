"""The uncertainty statement: how sure the totals are, what that is made of and what it rests on."""

from __future__ import annotations

from flowlog.monitor.accuracy import Budget, Quantity
from flowlog.report.document import Block, Bullets, Paragraph, Table
from flowlog.report.gather import Source
from flowlog.review import words

_QUANTITIES: tuple[Quantity, ...] = ("rate", "volume", "area")


def certainty(source: Source) -> list[Block]:
    """Blocks for the totals of the route or stop."""
    found = [source.review.known(source.figures, quantity) for quantity in _QUANTITIES]
    known = [budget for budget in found if budget is not None]
    if source.figures.area_m2 <= 0 or not known:
        return [Paragraph("Nothing was sprayed, so there is nothing to be sure of.")]
    blocks: list[Block] = [
        Bullets(tuple(f"{_written(budget.sentence())}." for budget in known)),
        _parts(known[0]),
        Paragraph(
            "The parts are standard uncertainties and add up as squares (JCGM 100:2008); a bound "
            "of ±a without more knowledge counts as a/√3. An interval of 95 % misses the truth "
            "once in twenty times. What is assumed for a class of sensors is common practice, no "
            "source; calibrating takes its place."
        ),
    ]
    if any(stop.counted_area_m2 is not None for stop in source.stops):
        blocks.append(
            Paragraph("An area that a person gave is taken as it was given, without a doubt.")
        )
    if any(alert.size_low is not None and not alert.noted for alert in source.alerts):
        blocks.append(Paragraph("The range of an alert's size holds it in 95 % of the cases."))
    return blocks


def _parts(budget: Budget) -> Table:
    rows = tuple(
        (
            _written(part.cause),
            f"{100 * part.relative:.2g} %",
            "own" if part.own else "assumed",
            _written(part.because),
        )
        for part in budget.contributions
    )
    return Table(
        (f"What makes the {budget.quantity} unsure", "standard", "rests on", "which is"),
        rows,
        right=frozenset({1}),
        wide=frozenset({0, 3}),
        total=(
            "All together",
            f"{100 * budget.relative:.2g} %",
            "",
            f"twice that, ±{100 * budget.expanded:.2g} %, covers about 95 %",
        ),
    )


def _written(text: str) -> str:
    """As it stands on paper, with a capital."""
    return words.on_page(text[:1].upper() + text[1:])
