"""The totals of a report: what went out, on how much ground, at which rate against the target."""

from __future__ import annotations

from flowlog.monitor.accuracy import Quantity
from flowlog.record.sheet import area_text
from flowlog.report.document import Block, Fact, Facts, Paragraph
from flowlog.report.gather import Source
from flowlog.review import words
from flowlog.review.live_state import pressure_verdict, rate_verdict
from flowlog.units import show


def totals(source: Source) -> list[Block]:
    """Blocks of what was sprayed."""
    review, figures = source.review, source.figures
    rig, units = review.rig, review.rig.units
    facts = [
        Fact("Volume", words.value(figures.volume_m3, "volume", units), sure(source, "volume")),
        Fact("Area", area_text(figures.area_m2, units), _area_note(source)),
        Fact("Mean rate", words.value(figures.rate_m3_m2, "rate", units), sure(source, "rate")),
        Fact("Rate asked for", words.value(rig.work.rate_m3_m2, "rate", units)),
    ]
    if figures.rate_m3_m2 is not None:
        share = figures.rate_m3_m2 / rig.work.rate_m3_m2
        facts.append(
            Fact("Against the target", words.percent(share - 1, signed=True), _verdict(share))
        )
    if figures.within_5_share is not None and figures.within_10_share is not None:
        facts.append(
            Fact(
                "On target",
                f"{words.percent(figures.within_5_share)} of the time within 5 %",
                f"{words.percent(figures.within_10_share)} within 10 %, once settled",
            )
        )
    facts.append(
        Fact(
            "Time spraying",
            words.duration(figures.spraying_s),
            f"in {words.duration(figures.elapsed_s)}",
        )
    )
    if figures.pressure_pa is not None:
        low = words.figure(figures.pressure_p5_pa, "pressure", units)
        high = words.value(figures.pressure_p95_pa, "pressure", units)
        facts.append(
            Fact(
                "Mean pressure",
                words.value(figures.pressure_pa, "pressure", units),
                f"{low} to {high} in 90 % of the time; {_band(source, figures.pressure_pa)}",
            )
        )
    if figures.flow_m3_s is not None:
        expected = words.value(rig.expected_flow_m3_s, "flow", units)
        facts.append(
            Fact(
                "Mean flow",
                words.value(figures.flow_m3_s, "flow", units),
                f"{expected} expected",
            )
        )
    speed = "measured by the wheel" if rig.wheel is not None else "calibrated, not measured"
    facts.append(Fact("Ground speed", words.value(rig.work.speed_m_s, "speed", units), speed))
    facts.append(Fact("Effective width", show(rig.boom.effective_width_m, "length", units)))
    if source.stop is None and figures.tank_m3 is not None:
        facts.append(Fact("Left in the tank", words.value(figures.tank_m3, "volume", units)))
    blocks: list[Block] = [Facts(tuple(facts))]
    outside = review.summary.volume_outside_m3
    if source.stop is None and outside > 1e-6:
        blocks.append(
            Paragraph(
                f"{words.value(outside, 'volume', units)} of the volume went through the meter "
                "outside of the stops: flushing, or a leak."
            )
        )
    return blocks


def sure(source: Source, quantity: Quantity) -> str:
    """The interval that covers about 95 %, in a few words."""
    known = source.review.known(source.figures, quantity)
    return "" if known is None else f"±{100 * known.expanded:.2g} % (95 %)"


def _area_note(source: Source) -> str:
    units = source.review.rig.units
    given = [stop for stop in source.stops if stop.counted_area_m2 is not None]
    if not given:
        return sure(source, "area")
    if source.stop is None:
        numbers = ", ".join(str(stop.number) for stop in given)
        return f"as a person gave it for stop{'s' * (len(given) > 1)} {numbers}"
    return f"as a person gave it; {words.value(given[0].counted_area_m2, 'area', units)} counted"


def _verdict(share: float) -> str:
    return rate_verdict(share).lower()


def _band(source: Source, pressure_pa: float) -> str:
    rig = source.review.rig
    low = words.figure(rig.boom.pressure_low_pa, "pressure", rig.units)
    high = words.figure(rig.boom.pressure_high_pa, "pressure", rig.units)
    return f"tips: {low} to {high}, mean {pressure_verdict(pressure_pa, rig).lower()}"
