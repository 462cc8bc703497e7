"""The sets of fields are data: complete, with sources, and they promise nothing."""

from __future__ import annotations

import pytest

from flowlog.record.fields import BY_KEY, FIELDS, OTHER_KEYS, PRODUCT_KEYS
from flowlog.record.forms import ACRE_M2, DEFAULT_FORM, FORMS, NOTICES, FormError, form_of


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.key)
def test_each_set_names_its_source_and_known_fields(form):
    assert set(form.fields) <= set(BY_KEY)
    assert len(set(form.fields)) == len(form.fields)
    assert len(form.source) > 20
    assert form.keep_years >= 1


def test_the_private_set_is_that_of_the_federal_rule():
    # 7 CFR 110.3, text of 2006: product and registration number, total amount, location with the
    # size of the area and the crop or site, date, name and certification number; kept 2 years.
    # Within 14 days: pesticide stewardship pages of US universities.
    form = form_of("private")
    assert set(form.fields) == {
        *("product", "registration", "amount", "location", "area", "site"),
        *("date", "applicator", "certificate"),
    }
    assert (form.keep_years, form.write_within_days) == (2, 14)


def test_the_spot_set_needs_less_but_the_word_spot():
    # 7 CFR 110.3 as summarised by the Minnesota Department of Agriculture.
    form = form_of("spot")
    assert set(form.fields) == {"product", "registration", "date", "amount", "location", "spot"}
    assert form.area_below_m2 == pytest.approx(4356 * 0.3048**2, rel=1e-12)
    assert pytest.approx(4046.8564224, rel=1e-12) == ACRE_M2


def test_the_commercial_set_adds_customer_time_and_uncertified_applicators():
    # 40 CFR 171.303(b)(7), as summarised in an extension publication.
    added = set(form_of("commercial").fields) - set(form_of("private").fields)
    assert added == {"customer", "customer_address", "begin", "end", "assistants"}


def test_the_strict_set_contains_all_federal_ones_and_the_states_extras():
    strict = set(form_of("strict").fields)
    assert strict >= {*form_of("private").fields, *form_of("commercial").fields}
    assert strict >= {"wind_speed", "wind_from", "temperature", "supplier", "strength"}
    assert form_of("strict").keep_years == max(form.keep_years for form in FORMS)
    assert DEFAULT_FORM == "strict"


def test_the_notices_name_label_and_state_and_claim_nothing():
    said = " ".join(NOTICES)
    assert "label is the law" in said
    assert "Check your state's rule" in said
    assert "does not say that a record complies" in said


def test_an_unknown_set_is_told_with_a_close_one():
    with pytest.raises(FormError, match="did you mean private"):
        form_of("privat")
    with pytest.raises(FormError, match="one of: private, spot"):
        form_of("zzz")


def test_each_field_is_of_a_product_or_of_the_application():
    assert sorted(PRODUCT_KEYS + OTHER_KEYS) == sorted(field.key for field in FIELDS)
    assert len(BY_KEY) == len(FIELDS)
