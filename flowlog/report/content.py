"""What a report says, in which order."""

from __future__ import annotations

from typing import Final

from flowlog import __version__
from flowlog.record.layout import page_of
from flowlog.report.document import (
    Block,
    Bullets,
    Document,
    Fact,
    Facts,
    Heading,
    Paragraph,
    Picture,
)
from flowlog.report.fingerprint import grouped
from flowlog.report.gather import Source
from flowlog.report.sure import certainty
from flowlog.report.tables import alert_table, calibration_table, stop_table
from flowlog.report.totals import totals
from flowlog.review import words
from flowlog.review.chart import chart_of, strips
from flowlog.review.chart_svg import chart_svg, described
from flowlog.review.corrections_text import correction_lines
from flowlog.review.places import time_line
from flowlog.review.route import CLOCK_SENTENCES
from flowlog.store.correction import Merge, Split

_COLUMNS: Final = 900
"""Points side by side in the chart: on paper about five to a millimetre."""

CAUTIONS: Final = (
    "The label is the law: what it says about rate, weather, protection, entry and records comes "
    "before everything in this report.",
    "Local codes, your state's rules and licensed practice overrule it too. This report does not "
    "say that any of them is met.",
    "It tells of sensors at the boom: an alert can be wrong, and the absence of alerts proves "
    "nothing. Two sensors cannot tell which tip was blocked.",
)


def document_of(source: Source, made_us: int) -> Document:
    """The report.

    Args:
        made_us: when it is made, UTC microseconds.
    """
    blocks: list[Block] = [Facts(tuple(_head(source, made_us)))]
    if not source.review.ended:
        blocks.append(
            Paragraph("The route was still open when this was made: its figures may grow.", True)
        )
    if source.review.clock == "none":
        blocks.append(Paragraph(CLOCK_SENTENCES["none"], strong=True))
    blocks += [Heading("Totals"), *totals(source)]
    blocks += [Heading("Rate, flow and pressure"), *_picture(source)]
    blocks += [Heading("Stops"), *stop_table(source)] if source.stop is None else []
    blocks += [Heading("Alerts"), *alert_table(source)]
    blocks += [Heading("Calibrations used"), *calibration_table(source)]
    blocks += [Heading("How sure this is"), *certainty(source)]
    blocks += _corrections(source)
    blocks += _records(source)
    blocks += [Heading("Cautions"), Bullets(CAUTIONS, framed=True)]
    blocks += [Heading("Made from"), Facts(tuple(_origin(source))), *_print_of(source)]
    return Document(
        title=_title(source),
        subtitle=_subtitle(source),
        blocks=tuple(blocks),
        foot=f"flowlog report, route {source.review.number}{_stop_words(source)}, data "
        f"{source.fingerprint[:8]}",
    )


def _title(source: Source) -> str:
    stop, route = source.stop, source.review.route
    if stop is not None:
        return f"Stop {stop.number}" + (f": {stop.name}" if stop.name else "")
    return f"Route {source.review.number}" + (f": {route.name}" if route.name else "")


def _stop_words(source: Source) -> str:
    return "" if source.stop is None else f", stop {source.stop.number}"


def _subtitle(source: Source) -> str:
    route = source.review.route
    if source.stop is None:
        return f"Report of a route, {source.review.rig.name}"
    name = f" '{route.name}'" if route.name else ""
    return f"Report of a stop of route {source.review.number}{name}, {source.review.rig.name}"


def _head(source: Source, made_us: int) -> list[Fact]:
    stops, summary = source.stops, source.review.summary
    begin = stops[0].begin_wall_us if stops else summary.begin_wall_us
    end = stops[-1].end_wall_us if stops else summary.end_wall_us
    local, universal = words.iso_times(begin)
    if source.review.clock == "none" or local is None or universal is None:
        date, zone = "not known", "the computer's clock was not set"
    else:
        until = words.iso_times(end)[0] or local
        same = until[:10] == local[:10]
        date = f"{local[:10]} {local[11:16]} to {until[11:16] if same else until[:16]}"
        zone = f"local time, UTC{local[23:]}"
    return [
        Fact("Rig", source.review.rig.name),
        Fact("Date", date, zone),
        Fact("Place", *_place(source)),
        Fact("Report made", words.local_time(made_us, with_date=True, second=False)),
    ]


def _place(source: Source) -> tuple[str, str]:
    """As recorded: by the application records, else by the names of the stops."""
    said = list(
        dict.fromkeys(
            value.text
            for revision in source.records
            for value in (revision.sheet.value("location"),)
            if value is not None
        )
    )
    if said:
        return "; ".join(said), "by the application record"
    named = [stop.name for stop in source.stops if stop.name]
    if named:
        return "; ".join(dict.fromkeys(named)), "by the stops' names"
    return "not recorded", ""


def _picture(source: Source) -> list[Block]:
    review, stop = source.review, source.stop
    if not len(review.columns["seconds"]):
        return [Paragraph("Nothing was measured.")]
    begin = end = None
    if stop is not None:
        strip = next(
            one for one in strips(review, time_line(review.columns)) if one.number == stop.number
        )
        begin, end = strip.begin_s, strip.end_s
    chart = chart_of(review, begin, end, columns=_COLUMNS)
    units = review.rig.units
    svg = chart_svg(chart, units, width=_COLUMNS, panel_height=130, ident="report")
    numbers = "The numbers are those of the table of alerts. " if chart.flags else ""
    return [
        Picture(svg, described(chart, units)),
        Paragraph(
            f"{numbers}Grey: from the smallest to the largest value in the time of a point; black: "
            "their mean."
        ),
    ]


def _corrections(source: Source) -> list[Block]:
    review = source.review
    told = [line.strip() for line in correction_lines(review)]
    if not told:
        return []
    blocks: list[Block] = [Heading("Corrected afterwards"), Bullets(tuple(told))]
    if review.derived:
        blocks.append(
            Paragraph("Readings and alerts were derived anew; what was logged stays in the store.")
        )
    if review.underived:
        blocks.append(
            Paragraph(
                f"Other calibrations were chosen, but this is what was logged: {review.underived}.",
                strong=True,
            )
        )
    return blocks


def _counted_anew(source: Source, made_us: int) -> bool:
    """Whether stops may have another number than when somebody wrote about one."""
    return any(
        one.holds and isinstance(one.said, Split | Merge) and one.row.made_wall_us > made_us
        for one in source.review.corrections
    )


def _records(source: Source) -> list[Block]:
    blocks: list[Block] = [Heading("Application record")]
    if not source.records:
        return [*blocks, Paragraph("None is attached (flowlog sheet new makes one).")]
    for revision in source.records:
        page = page_of([revision])
        stop = revision.stored.row.stop_number
        of = "the whole route" if stop is None else f"stop {stop}"
        made = words.local_time(revision.stored.row.made_wall_us, with_date=True, second=False)
        state = revision.stored.row.state
        blocks.append(
            Paragraph(
                f"{page.title}, of {of}, {state}; written {made} by {revision.stored.row.made_by}.",
                strong=True,
            )
        )
        many = len(page.products) > 1
        for number, product in enumerate(page.products, 1):
            prefix = f"Product {number}: " if many else ""
            facts = [
                Fact(prefix + line.label, line.text, line.note) for line in product if line.text
            ]
            blocks += [Facts(tuple(facts))] if facts else []
        lines = [line for _, section in page.sections for line in section if line.text]
        blocks += [Facts(tuple(Fact(line.label, line.text, line.note) for line in lines))]
        if stop is not None and _counted_anew(source, revision.stored.row.made_wall_us):
            blocks.append(
                Paragraph(
                    "Stops were split or merged after this was written: it may have been another "
                    f"one that was stop {stop} then.",
                    strong=True,
                )
            )
        if page.missing:
            blocks.append(Paragraph(f"Empty fields of its set: {'; '.join(page.missing)}."))
    return blocks


def _origin(source: Source) -> list[Fact]:
    review, figures = source.review, source.figures
    sent = figures.samples + figures.lost
    lost = f"{figures.lost} lost" if figures.lost else "none lost"
    gaps = (
        f"{figures.gaps} gap{'' if figures.gaps == 1 else 's'}, "
        f"{words.duration(figures.gap_s)} together"
        if figures.gaps
        else ""
    )
    return [
        Fact("Samples of the board", f"{figures.samples} of {sent}, {lost}", gaps),
        Fact("Route's id", review.route.uid),
        Fact("Rig file", review.route.rig_sha256[:16], "beginning of its SHA-256"),
        Fact("Made by", f"flowlog {__version__}"),
    ]


def _print_of(source: Source) -> list[Block]:
    return [
        Paragraph(
            f"{CLOCK_SENTENCES[source.review.clock]} Volume holds through lost samples and gaps, "
            "since the board counts on."
        ),
        Paragraph(
            "Fingerprint of the data (SHA-256 of the route's readings, events, marks, corrections, "
            f"rig file, calibrations and records): {grouped(source.fingerprint)}"
        ),
    ]
