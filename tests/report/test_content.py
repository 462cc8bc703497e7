"""What the report of a route says."""

from __future__ import annotations

import dataclasses
import io
import json
import re
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parent))

from pages import Reader, numbers, pdf_text, squeezed, texts
from reported import ANSWERS, MADE_US, RIG, add_record, store_morning
from stored import store_items
from support.capped_check import check_of, checked, rig_of

from flowlog.calibrating.inuse import choose
from flowlog.calibrating.rows import Noted, row_of
from flowlog.cli import main
from flowlog.monitor.codes import CODES
from flowlog.monitor.summary import alerts_of
from flowlog.report.content import CAUTIONS, document_of
from flowlog.report.document import Document, Facts, Paragraph, Table
from flowlog.report.gather import Source, gather
from flowlog.report.html import html
from flowlog.report.pdf import pdf
from flowlog.review.export_json import summary_json
from flowlog.review.find import NotFoundError
from flowlog.store.archive import Archive
from flowlog.store.rows import StoredCalibration

NASTY = "<script>alert(1)</script> שלום " + "w" * 120


def source_of(folder: Path, stop: int | None = None) -> Source:
    with Archive.open(folder) as archive:
        return gather(archive, "last", stop)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("reported")
    store_morning(made)
    add_record(made, uid="of-the-route")
    add_record(made, 2, {**ANSWERS, "location": "Mill Lane 9, back"}, "of-stop-2", "commercial")
    return made


@pytest.fixture(scope="module")
def source(folder: Path) -> Source:
    return source_of(folder)


@pytest.fixture(scope="module")
def document(source: Source) -> Document:
    return document_of(source, MADE_US)


def facts(document: Document) -> dict[str, tuple[str, str]]:
    """The first of each label."""
    found: dict[str, tuple[str, str]] = {}
    for block in document.blocks:
        if isinstance(block, Facts):
            for fact in block.facts:
                found.setdefault(fact.label, (fact.value, fact.note))
    return found


def table(document: Document, column: str) -> Table:
    return next(
        block for block in document.blocks if isinstance(block, Table) and column in block.head
    )


def said(document: Document) -> str:
    return " | ".join(texts(document.plain()))


def test_the_head_says_rig_date_and_place_as_recorded(document: Document) -> None:
    head = facts(document)
    assert head["Rig"][0] == "Demo cart"
    assert head["Date"][0].startswith("2026-05-28 ")
    assert head["Place"] == (
        "12 Sample Road, north lawn; Mill Lane 9, back",
        "by the application record",
    )


def test_without_a_record_the_stops_names_are_the_place(tmp_path: Path) -> None:
    store_morning(tmp_path, calibrated=False)
    made = document_of(source_of(tmp_path), MADE_US)
    assert facts(made)["Place"] == ("Park, north lawn; Mill Lane 9", "by the stops' names")
    assert "None is attached" in said(made)


def test_the_totals_are_those_of_the_summary(source: Source, document: Document) -> None:
    figures, totals = source.review.summary.figures, facts(document)
    gallons = figures.volume_m3 / 0.003785411784
    assert totals["Volume"][0] == f"{gallons:.1f} gal"
    assert totals["Area"][0].startswith(f"{figures.area_m2 / 0.3048**2:.0f} ft2 (")
    off = figures.rate_m3_m2 / RIG.work.rate_m3_m2 - 1
    assert totals["Against the target"][0] == f"{100 * off:+.0f} %"
    assert totals["Rate asked for"][0] == "1.10 gal/1000 ft2"


def test_each_total_carries_its_own_interval(source: Source, document: Document) -> None:
    out = io.StringIO()
    summary_json(source.review, out)
    accuracy = json.loads(out.getvalue())["accuracy"]
    for label, key in (("Volume", "volume"), ("Area", "area"), ("Mean rate", "rate")):
        half = 100 * accuracy[key]["half_width_95_share"]
        assert facts(document)[label][1] == f"±{half:.2g} % (95 %)"


def test_the_stops_add_up_in_the_table(source: Source, document: Document) -> None:
    stops = table(document, "Stop")
    assert [row[0] for row in stops.rows] == ["1 Park, north lawn", "2 Mill Lane 9", "3"]
    assert stops.total is not None
    volume = stops.head.index("Volume gal")
    assert sum(float(row[volume]) for row in stops.rows) == pytest.approx(
        float(stops.total[volume]), abs=0.2
    )
    assert stops.total[-1] == str(sum(not alert.noted for alert in source.alerts))


def test_an_alert_stands_with_onset_size_and_when_it_cleared(document: Document) -> None:
    alerts = table(document, "Cleared")
    blocked = next(row for row in alerts.rows if row[1].startswith("Tip blocked"))
    cells = dict(zip(alerts.head, blocked, strict=True))
    assert cells["Stop"] == "2"
    assert re.fullmatch(r"(0\.9|1\.[01]) tips \(\d\.\d to \d\.\d\)", cells["Size"])
    assert cells["Began about"] <= cells["Said"] <= cells["Cleared"]


def test_an_alert_that_was_understood_later_tells_both(source: Source) -> None:
    first = next(row for row in source.review.events if row.event.code == "tip_blocked")
    later = dataclasses.replace(
        first,
        event=dataclasses.replace(
            first.event, code="boom_leak", change="grew", text="Less than before.", size=0.1
        ),
    )
    opened = dataclasses.replace(first.event, text="One tip of 8.", size=1.0, size_low=0.8)
    events = (dataclasses.replace(first, event=opened), later)
    (alert,) = alerts_of([row.event for row in events])
    summary = source.review.summary
    stops = tuple(dataclasses.replace(stop, alerts=()) for stop in summary.stops)
    review = dataclasses.replace(
        source.review,
        events=events,
        summary=dataclasses.replace(summary, alerts=(alert,), stops=stops),
    )
    made = document_of(dataclasses.replace(source, review=review), MADE_US)
    (row,) = table(made, "Cleared").rows
    leak = CODES["boom_leak"].title
    assert row[1] == f"Tip blocked: One tip of 8. At last: {leak}: Less than before."
    assert row[5].startswith("1.0 tips (0.8 to ")


def test_an_alert_that_nothing_cleared_says_so(source: Source) -> None:
    summary = source.review.summary
    opened = [dataclasses.replace(alert, cleared=None) for alert in summary.alerts]
    review = dataclasses.replace(
        source.review, summary=dataclasses.replace(summary, alerts=tuple(opened))
    )
    made = document_of(dataclasses.replace(source, review=review), MADE_US)
    assert {row[-1] for row in table(made, "Cleared").rows} == {"never"}


def test_the_calibrations_stand_with_date_and_uncertainty(document: Document) -> None:
    rows = {row[0]: row for row in table(document, "Made").rows}
    course, meter = rows["Ground speed (course)"], rows["Flow sensor (meter)"]
    assert "mph ±" in course[1]
    assert "(3 runs)" in course[1]
    assert "pulse/L ±" in meter[1]
    assert course[2].startswith("2026-05-21 ")
    assert meter[3] == "Ann"
    assert rows["Healthy boom (baseline)"][1] == "learnt in the first minutes of the route"


def test_a_capped_tip_stands_among_the_calibrations(source: Source) -> None:
    usual = {row[0]: row for row in table(document_of(source, MADE_US), "Made").rows}
    assert usual["Pressure's answer (capped tip)"][1].startswith("not checked")
    result = checked(check_of(rig_of(8), "roller", 1))
    row = row_of(result, source.review.rig, Noted("Ann"), wall_us=MADE_US)
    in_use = choose(source.review.rig, [StoredCalibration(9, row)])
    made = document_of(dataclasses.replace(source, in_use=in_use), MADE_US)
    said_of = {row[0]: row for row in table(made, "Made").rows}["Pressure's answer (capped tip)"]
    assert f"answer {result.share:.2f} ±" in said_of[1]
    assert "(3 sprayings)" in said_of[1]
    assert said_of[3:] == ("Ann", "9")


def test_what_was_not_calibrated_is_the_rig_files(tmp_path: Path) -> None:
    store_morning(tmp_path, calibrated=False)
    rows = table(document_of(source_of(tmp_path), MADE_US), "Made").rows
    assert [row[2] for row in rows[:3]] == ["as the rig file says"] * 3


def test_the_uncertainty_says_of_each_part_what_it_rests_on(document: Document) -> None:
    parts = {row[0]: row for row in table(document, "rests on").rows}
    assert parts["The meter's calibration"][2] == "own"
    assert "2026-05-21" in parts["The meter's calibration"][3]
    assert parts["The ground speed"][2] == "assumed"
    assert "not measured" in parts["The ground speed"][3]
    assert "JCGM 100:2008" in said(document)


def test_the_parts_of_the_uncertainty_add_up_to_its_total(document: Document) -> None:
    parts = table(document, "rests on")
    assert parts.total is not None

    def share(cell: str) -> float:
        return float(cell.strip(" %"))

    squares = sum(share(row[1]) ** 2 for row in parts.rows)
    assert squares**0.5 == pytest.approx(share(parts.total[1]), rel=0.02)


def test_the_filled_fields_of_the_records_are_there(document: Document) -> None:
    text = said(document)
    for answer in ANSWERS.values():
        assert answer in text
    assert "Application record 1, revision 1, of the whole route, complete" in text
    assert "Application record 2, revision 1, of stop 2, draft" in text
    assert "Empty fields of its set: Customer; Customer's address" in text


def test_the_cautions_are_there(document: Document) -> None:
    assert CAUTIONS[0].startswith("The label is the law")
    assert "Local codes" in CAUTIONS[1]
    for caution in CAUTIONS:
        assert caution in said(document)


def test_a_stop_has_its_own_figures_alerts_and_records(folder: Path) -> None:
    first, second = (document_of(source_of(folder, number), MADE_US) for number in (1, 2))
    assert first.title == "Stop 1: Park, north lawn"
    assert "Alerts | None." in said(first)
    assert "of-stop-2" not in said(first)
    assert "Application record 2" not in said(first)
    assert "Application record 2" in said(second)
    assert "Application record 1" in said(second)
    figures = source_of(folder, 2).review.summary.stops[1].figures
    assert facts(second)["Volume"][0] == f"{figures.volume_m3 / 0.003785411784:.1f} gal"
    assert not [b for b in second.blocks if isinstance(b, Table) and "Began" in b.head]


def test_route_and_stop_carry_the_fingerprint_of_the_same_data(folder: Path) -> None:
    whole, part = source_of(folder), source_of(folder, 1)
    assert whole.fingerprint == part.fingerprint
    text = squeezed(said(document_of(part, MADE_US)))
    assert whole.fingerprint in text
    assert whole.fingerprint[:8] in document_of(part, MADE_US).foot


def test_a_further_record_changes_the_fingerprint(tmp_path: Path) -> None:
    store_morning(tmp_path, calibrated=False)
    before = source_of(tmp_path).fingerprint
    assert source_of(tmp_path).fingerprint == before
    add_record(tmp_path, 1)
    assert source_of(tmp_path).fingerprint != before


def test_a_stop_that_is_not_there_is_named_with_those_that_are(folder: Path) -> None:
    with pytest.raises(NotFoundError, match=r"no stop 9 \(it has stops 1 to 3"):
        source_of(folder, 9)


def test_a_route_without_spraying_has_a_report_too(tmp_path: Path) -> None:
    store_items(tmp_path, [], ended=False)
    made = document_of(source_of(tmp_path), MADE_US)
    assert "Nothing was sprayed" in said(made)
    assert "still open" in said(made)
    assert pdf(made, "a4", MADE_US).startswith(b"%PDF-")
    assert "Nothing was measured." in Reader(html(made)).text


def test_times_of_a_clock_that_was_not_set_are_not_given_as_a_date(source: Source) -> None:
    review = dataclasses.replace(source.review, clock="none")
    made = document_of(dataclasses.replace(source, review=review), MADE_US)
    assert facts(made)["Date"][0] == "not known"
    assert any(isinstance(b, Paragraph) and b.strong and "clock" in b.text for b in made.blocks)


def test_an_area_that_a_person_gave_is_marked_as_given(source: Source) -> None:
    summary = source.review.summary
    first = summary.stops[0]
    figures = dataclasses.replace(first.figures, area_m2=1500.0, area_given=True)
    stops = (
        dataclasses.replace(first, figures=figures, counted_area_m2=first.figures.area_m2),
        *summary.stops[1:],
    )
    review = dataclasses.replace(source.review, summary=dataclasses.replace(summary, stops=stops))
    whole = document_of(dataclasses.replace(source, review=review), MADE_US)
    assert table(whole, "Stop").rows[0][3] == "16,146 given"
    assert facts(whole)["Area"][1] == "as a person gave it for stop 1"
    part = document_of(dataclasses.replace(source, review=review, stop=stops[0]), MADE_US)
    assert facts(part)["Area"][1].endswith("ft2 counted")
    assert "taken as it was given" in said(part)


def test_html_and_pdf_hold_the_same_numbers_and_sentences(
    document: Document, tool, tmp_path: Path
) -> None:
    of_pdf = pdf_text(tool("pdftotext"), pdf(document, "letter", MADE_US), tmp_path, "-raw")
    of_html = Reader(html(document)).text
    pages = {str(number) for number in range(1, of_pdf.count("\f") + 1)}
    assert numbers(of_html) <= numbers(of_pdf)
    assert numbers(of_pdf) - pages <= numbers(of_html)
    for sentence in texts(document.plain()["blocks"]):
        assert squeezed(sentence) in squeezed(of_pdf), sentence
        assert squeezed(sentence) in squeezed(of_html), sentence


def test_names_that_are_no_names_break_nothing(tmp_path: Path) -> None:
    store_morning(tmp_path, named=(NASTY, "\u202eturned", "{{x}} #let"), calibrated=False)
    add_record(tmp_path, 1, {**ANSWERS, "location": NASTY, "product": NASTY})
    made = document_of(source_of(tmp_path), MADE_US)
    page = Reader(html(made))
    assert "script" not in page.tags
    assert squeezed(NASTY) in squeezed(page.text)
    assert pdf(made, "letter", MADE_US).startswith(b"%PDF-")


def test_a_metric_rig_reads_in_metric_units(source: Source) -> None:
    rig = dataclasses.replace(source.review.rig, units="metric")
    review = dataclasses.replace(source.review, rig=rig)
    made = document_of(dataclasses.replace(source, review=review), MADE_US)
    assert facts(made)["Volume"][0].endswith(" L")
    assert "L/ha" in facts(made)["Mean rate"][0]
    assert "Area m2" in table(made, "Stop").head


def test_readings_that_are_not_numbers_do_not_reach_the_page(source: Source) -> None:
    columns = dict(source.review.columns)
    columns["pressure_pa"] = np.full(len(columns["seconds"]), np.nan)
    review = dataclasses.replace(source.review, columns=columns)
    made = html(document_of(dataclasses.replace(source, review=review), MADE_US))
    assert "nan" not in Reader(made).text.lower()
    assert "NaN" not in made


def corrected(folder: Path, *words: str) -> Document:
    result = CliRunner().invoke(
        main, ["correct", "last", "--data", str(folder), "--by", "Ann", *words]
    )
    assert result.exit_code == 0, result.output
    return document_of(source_of(folder), MADE_US)


def test_what_was_corrected_afterwards_is_told_and_changes_the_fingerprint(tmp_path: Path) -> None:
    store_morning(tmp_path)
    add_record(tmp_path, 2)
    before = source_of(tmp_path)
    assert "Corrected afterwards" not in said(document_of(before, MADE_US))
    made = corrected(tmp_path, "--stop", "1", "--name", "Hill <b>3</b>")
    assert table(made, "Stop").rows[0][0] == "1 Hill <b>3</b>"
    assert "is called 'Hill <b>3</b>'; Ann, " in said(made)
    assert "may have been another one" not in said(made)
    made = corrected(tmp_path, "--stop", "2", "--merge")
    assert len(table(made, "Stop").rows) == 2
    assert "may have been another one that was stop 2 then" in said(made)
    assert source_of(tmp_path).fingerprint != before.fingerprint


def test_a_route_derived_with_other_calibrations_names_those(tmp_path: Path) -> None:
    store_morning(tmp_path)
    assert table(document_of(source_of(tmp_path), MADE_US), "Made").rows[0][3] == "Ann"
    made = corrected(tmp_path, "--rig-file-only")
    assert table(made, "Made").rows[0][2] == "as the rig file says"
    assert {row[2] for row in table(made, "rests on").rows} == {"own", "assumed"}
    assert "The course's speed" not in [row[0] for row in table(made, "rests on").rows]
    assert "derived anew" in said(made)
