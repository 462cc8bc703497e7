"""Sheets: what is known, what is missing, what looks odd."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from sheets import ANSWERS, MEASURED, PRODUCT, measured, revision, sheet

from flowlog.record.checks import keep_until, remarks, write_by
from flowlog.record.fields import FIELDS
from flowlog.record.history import NoRecordError, changes, past_by, revisions_of
from flowlog.record.sheet import Sheet, SheetError, sheet_of
from flowlog.record.values import FieldError, value_of

DAY = date(2026, 5, 29)


def told(content: Sheet, made: date = DAY) -> str:
    return "\n".join(remarks(content, made))


def test_the_log_supplies_date_times_area_volume_and_rate():
    empty = Sheet("strict", MEASURED)
    shown = {field.key: empty.value(field.key) for field in FIELDS if field.measured}
    assert {key: value.text for key, value in shown.items()} == {
        "date": "2026-05-28",
        "begin": "14:05",
        "end": "14:50",
        "area": "12000 ft2 (0.275 acre)",
        "volume": "18.0 gal",
        "rate": "1.50 gal/1000 ft2",
    }


def test_a_metric_rig_gets_metric_figures():
    metric = Sheet("strict", measured(units="metric"))
    assert metric.value("area").text == "1115 m2 (0.111 ha)"
    assert metric.value("volume").text == "68.1 L"
    assert metric.value("rate").text == "611 L/ha"


def test_a_clock_that_was_never_set_supplies_no_date():
    lost = Sheet("private", measured(clock="none"))
    assert {entry.key for _, entry in lost.missing()} >= {"date"}
    assert "clock was not set" in told(lost)
    assert lost.with_values({(0, "date"): value_of("date", "2026-05-28")}).value("date")


def test_a_persons_word_stands_before_the_logs():
    said = sheet(area="11500 ft2")
    assert said.value("area").text == "11500 ft2"
    assert said.measured.area_m2 == MEASURED.area_m2


@pytest.mark.parametrize("key", [*PRODUCT, *ANSWERS])
def test_whatever_the_set_asks_for_and_is_empty_is_named(key):
    content = sheet("strict", **{key: None})
    assert key in {entry.key for _, entry in content.missing()}
    assert key not in {entry.key for _, entry in sheet("strict").missing()}


def test_nothing_is_missing_from_a_full_private_record():
    assert sheet().missing() == []


def test_missing_fields_of_several_products_name_the_product():
    content = sheet().with_values({(2, "product"): value_of("product", "Sample Surfactant")})
    assert content.missing_words() == [
        "EPA registration number (product 2)",
        "Total amount of product (product 2)",
    ]


def test_an_emptied_product_goes():
    two = sheet().with_values({(2, "product"): value_of("product", "Sample Surfactant")})
    assert len(two.with_values({(2, "product"): None}).products) == 1


@pytest.mark.parametrize("place", [(0, "amount"), (1, "site"), (0, "colour"), (99, "amount")])
def test_an_answer_without_a_place_is_refused(place):
    with pytest.raises(SheetError):
        sheet().with_values({place: value_of("site", "lawn")})


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (sheet("spot", spot="yes"), "not less than 1/10 acre"),
        (sheet(amount="48 fl oz"), "is 10 times what its rate makes of this area"),
        (sheet(amount="18.5 gal"), "more than the tank mix"),
        (sheet(label_rate="1 %", amount="0.2 gal"), "tank mix"),
        (sheet(registration="12345"), "does not look like an EPA registration number"),
        (sheet(wind_speed="2 mph"), "below 3 mph"),
        (sheet(wind_speed="12 mph"), "above 10 mph"),
        (sheet(area="6000 ft2"), "The area given"),
        (sheet(date="2026-05-27"), "not that of the log"),
        (sheet(date="2026-06-27"), "lies after"),
        (sheet(measured=measured(route_ended=False)), "still open"),
        (sheet(measured=measured(gap_s=65.0)), "1 min 05 s of the log are missing"),
        (sheet(measured=measured(speed_measured=False)), "estimate"),
    ],
)
def test_what_does_not_fit_together_is_remarked(content, sentence):
    assert sentence in told(content)
    assert sentence not in told(sheet())


def test_a_plausible_sheet_gets_no_remark():
    assert told(sheet()) == ""


def test_the_amount_by_rate_is_not_held_against_another_kind():
    # Pounds by area against a volume of liquid cannot be compared without a density.
    assert told(sheet(label_rate="2 lb/ac")) == ""


@pytest.mark.parametrize(("days", "late"), [(14, False), (15, True)])
def test_a_record_written_late_is_told_and_an_amendment_is_not(days, late):
    made = date.fromordinal(date(2026, 5, 28).toordinal() + days)
    assert ("First written on" in told(sheet(), made)) is late
    assert remarks(sheet(), date(2027, 1, 1), DAY) == []
    assert write_by(sheet()) == date(2026, 6, 11)


@pytest.mark.parametrize(
    ("form", "day", "until"),
    [
        ("private", "2026-05-28", date(2028, 5, 28)),
        ("strict", "2026-05-28", date(2029, 5, 28)),
        ("private", "2024-02-29", date(2026, 3, 1)),
    ],
)
def test_how_long_to_keep(form, day, until):
    assert keep_until(sheet(form, date=day)) == until


def test_a_sheet_survives_json():
    content = sheet("strict", remarks="Zäune, 草")
    assert sheet_of(json.loads(json.dumps(content.plain()))) == content


@given(st.dictionaries(st.sampled_from([f.key for f in FIELDS]), st.text(max_size=20), max_size=12))
def test_any_sheet_survives_json(words):
    from flowlog.record.fields import PRODUCT_KEYS

    new = {}
    for key, text in words.items():
        try:
            new[int(key in PRODUCT_KEYS), key] = value_of(key, text)
        except FieldError:
            continue
    content = Sheet("strict", MEASURED).with_values(new)
    assert sheet_of(json.loads(json.dumps(content.plain()))) == content


@pytest.mark.parametrize("data", [{}, {"version": 1}, {"version": 2}, {"version": "x"}])
def test_what_is_no_sheet_is_refused_in_words(data):
    with pytest.raises(SheetError, match="record: "):
        sheet_of(data)


def test_changes_name_what_was_and_what_is():
    old = sheet()
    new = sheet(wind_speed="8 mph", temperature=None, amount="5 fl oz")
    assert changes(old, new) == [
        "Product 1, total amount of product: 4.8 fl oz -> 5 fl oz",
        "Wind speed: 5 mph -> 8 mph",
        "Air temperature: 72 F -> (empty)",
    ]
    assert changes(old, old) == []


def test_an_amendment_made_beside_another_one_is_told():
    first, second = revision(sheet(), 1), revision(sheet(site="golf green"), 2)
    beside = revision(sheet(site="park"), 3, supersedes="uid1")
    chain = [first, second, beside]
    assert [past_by(chain, index) for index in range(3)] == [
        None,
        None,
        "made without knowing revision 2",
    ]


def test_a_record_that_is_not_there_is_told():
    stored = [revision(sheet()).stored]
    assert len(revisions_of(stored, 1)) == 1
    with pytest.raises(NoRecordError, match="records 1 to 1"):
        revisions_of(stored, 2)
    with pytest.raises(NoRecordError, match="flowlog sheet new"):
        revisions_of([], 1)
