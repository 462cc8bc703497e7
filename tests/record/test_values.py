"""What people write into fields."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.record.fields import BY_KEY, FIELDS
from flowlog.record.values import LONGEST, FieldError, Value, from_plain, plain, value_of


@pytest.mark.parametrize("field", FIELDS, ids=lambda field: field.key)
def test_each_fields_own_example_is_a_good_answer(field):
    assert value_of(field.key, field.example).text


@pytest.mark.parametrize(
    ("key", "text", "si", "unit"),
    [
        # International foot and pound, US gallon: exact by definition (NIST SP 811, annex B).
        ("amount", "12 fl oz", 12 * 3.785411784e-3 / 128, "m3"),
        ("amount", "2 lb", 2 * 0.45359237, "kg"),
        ("amount", "20 mL", 20e-6, "m3"),
        ("area", "0.3 ac", 0.3 * 43560 * 0.3048**2, "m2"),
        ("area", "12000 ft2", 12000 * 0.3048**2, "m2"),
        ("wind_speed", "5 mph", 5 * 0.44704, "m/s"),
        ("wind_speed", "calm", 0.0, "m/s"),
        ("temperature", "72 F", (72 - 32) / 1.8 + 273.15, "K"),
        ("temperature", "-5 °C", 268.15, "K"),
        ("wind_from", "SW", 225.0, "deg"),
        ("label_rate", "0.25 %", 0.0025, "m3/m3"),
        ("label_rate", "2 lb/ac", 2 * 0.45359237 / (43560 * 0.3048**2), "kg/m2"),
    ],
)
def test_quantities_are_kept_as_written_and_in_si(key, text, si, unit):
    found = value_of(key, text)
    assert found.si == pytest.approx(si, rel=1e-12)
    assert found.si_unit == unit


@pytest.mark.parametrize(
    ("key", "text", "written"),
    [
        ("begin", "2:05 pm", "14:05"),
        ("begin", "12:30 a.m.", "00:30"),
        ("begin", "12pm", "12:00"),
        ("begin", "9:07", "09:07"),
        ("wind_from", "from the south-west", "SW"),
        ("wind_from", "North north east", "NNE"),
        ("wind_from", "360", "0 deg"),
        ("wind_from", "variable", "variable"),
        ("registration", "EPA Reg. No. 1234-56", "1234-56"),
        ("registration", "none", "exempt"),
        ("restricted", "Y", "yes"),
        ("site", "  turf,\thome \n lawn ", "turf, home lawn"),
    ],
)
def test_answers_are_written_in_one_way(key, text, written):
    assert value_of(key, text).text == written


@pytest.mark.parametrize(
    ("key", "text", "told"),
    [
        ("amount", "12", "no unit"),
        ("amount", "12 oz", "'fl oz' for a liquid"),
        ("amount", "twelve", "not a volume or a mass (write for instance '12.5 fl oz')"),
        ("amount", "-3 lb", "not more than zero"),
        ("amount", "0 lb", "not more than zero"),
        ("amount", "3 ft", "a length, not a volume or a mass"),
        ("area", "12,000 ft2", "no thousands mark"),
        ("area", "20 ft", "not an area"),
        ("wind_speed", "5", "no unit"),
        ("wind_speed", "-2 mph", "not more than zero"),
        ("wind_from", "up", "no direction"),
        ("wind_from", "400", "no direction"),
        ("temperature", "72", "not a temperature"),
        ("temperature", "720 F", "no weather"),
        ("date", "5/28/2026", "year-month-day"),
        ("date", "2026-02-30", "not a date"),
        ("date", "0226-05-28", "outside of the years"),
        ("begin", "25:00", "not a time"),
        ("begin", "14", "not a time"),
        ("begin", "13:00 pm", "not a time"),
        ("registration", "EPA Est. 1234-AB-1", "establishment number"),
        ("registration", "unknown", "no digits"),
        ("restricted", "maybe", "not yes or no"),
        ("site", " \n ", "is empty"),
        ("site", "x" * (LONGEST + 1), "are the most"),
    ],
)
def test_a_wrong_answer_is_told_in_one_line_with_what_would_be_right(key, text, told):
    with pytest.raises(FieldError) as caught:
        value_of(key, text)
    assert str(caught.value).startswith(f"{key}: ")
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


@given(st.sampled_from(sorted(BY_KEY)), st.text(max_size=60))
def test_any_text_is_an_answer_or_a_remark_never_a_traceback(key, text):
    try:
        found = value_of(key, text)
    except FieldError as error:
        assert "\n" not in str(error)
    else:
        assert found.text
        assert found.text.isprintable()
        # What was taken once is taken again as the same: the sheet offers it as a default.
        again = value_of(key, found.text)
        assert (again.text, again.si_unit) == (found.text, found.si_unit)


@given(
    st.builds(
        Value,
        st.text(),
        st.none() | st.floats(allow_nan=False, allow_infinity=False),
        st.sampled_from(["", "m3", "K"]),
        st.sampled_from(["typed", "file", "remembered", "measured"]),
    )
)
def test_an_answer_survives_json(found):
    assert from_plain(json.loads(json.dumps(plain(found)))) == found
