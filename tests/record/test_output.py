"""The printed page, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from sheets import revision, sheet

from flowlog.record.export import record_csv, record_json, sheet_from_json, values_from_csv
from flowlog.record.fields import FIELDS
from flowlog.record.html import html
from flowlog.record.layout import page_of
from flowlog.record.sheet import SheetError
from flowlog.record.values import value_of

NASTY = """<script>alert("x")</script> & 'y' <b>"""
shown_texts = st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=25)


class Reader(HTMLParser):
    """Tags and visible text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.open: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.text += data + " "


def page(*revisions, index: int = -1) -> Reader:
    reader = Reader()
    reader.feed(html(page_of(revisions, index)))
    reader.close()
    assert reader.open == []
    return reader


def test_the_page_loads_nothing_and_runs_nothing():
    reader = page(revision(sheet()))
    tags = {tag for tag, _ in reader.tags}
    assert not tags & {"script", "link", "img", "iframe", "object", "form", "a", "svg"}
    text = html(page_of([revision(sheet())]))
    assert "url(" not in text and "@import" not in text and "http" not in text


@pytest.mark.parametrize("field", [f for f in FIELDS if f.shape == "text"], ids=lambda f: f.key)
def test_what_people_type_never_becomes_markup(field):
    number = int(field.section == "product")
    content = sheet().with_values({(number, field.key): value_of(field.key, NASTY)})
    reader = page(
        revision(content, made_by=NASTY, reason=NASTY), revision(content, 2, reason=NASTY)
    )
    assert "script" not in {tag for tag, _ in reader.tags}
    assert "b" not in {tag for tag, _ in reader.tags}
    assert NASTY in reader.text


@given(shown_texts)
def test_any_text_comes_back_out_of_the_page(text):
    assert value_of("site", text).text in page(revision(sheet(site=text))).text


def test_missing_fields_stand_at_the_top_and_as_blanks_to_fill_in():
    text = html(page_of([revision(sheet("commercial"))]))
    assert "DRAFT" in text
    assert "Customer; Customer&#x27;s address; Non-certified applicators" in text
    assert len(re.findall(r'class="cell blank', text)) == 3
    assert 'class="cell blank' not in html(page_of([revision(sheet())]))


def test_the_page_says_label_state_source_and_how_long_to_keep():
    text = page(revision(sheet())).text
    for words in (
        "label is the law",
        "Check your state's rule",
        "7 CFR 110.3",
        "until 2028-05-28 at least",
        "Write it by 2026-06-11",
        "does not say that a record complies",
    ):
        assert words in text


def test_the_page_gives_local_time_and_utc():
    text = page(revision(sheet())).text
    assert "14:05" in text
    assert "2026-05-28 19:05:10 to 19:50:00" in text
    assert "UTC-05:00" in text


def test_an_older_revision_says_that_it_is_superseded_and_shows_no_later_history():
    chain = [revision(sheet(), 1), revision(sheet(site="golf green"), 2)]
    old = page(*chain, index=0).text
    assert "superseded by revision 2" in old
    assert "golf green" not in old
    new = page(*chain).text
    assert "turf, home lawn -> golf green" in new
    assert "a slip" in new


def test_json_holds_the_sheet_and_can_be_read_back():
    content = sheet("strict", remarks="Zäune, 草")
    out = io.StringIO()
    record_json(revision(content), out)
    data = json.loads(out.getvalue())
    assert data["missing"] == content.missing_words()
    assert data["set_of_fields"]["keep_until"] == "2029-05-28"
    assert data["sheet"]["products"][0]["amount"]["si_unit"] == "m3"
    assert sheet_from_json(out.getvalue()) == content


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"format": "x"}'])
def test_json_of_something_else_is_refused(text):
    with pytest.raises(SheetError):
        sheet_from_json(text)


@given(shown_texts, shown_texts)
def test_csv_comes_back_as_it_went_out(site, name):
    content = sheet(site=site, product=name)
    out = io.StringIO(newline="")
    record_csv(revision(content), out)
    found = values_from_csv(io.StringIO(out.getvalue(), newline=""))
    expected = {(1, key): value for key, value in content.products[0].items()}
    expected |= {
        (0, field.key): content.value(field.key)
        for field in FIELDS
        if field.section != "product" and content.value(field.key)
    }
    assert found == expected


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "'quoted"])
def test_no_cell_of_the_csv_is_a_formula(text):
    out = io.StringIO(newline="")
    record_csv(revision(sheet(site=text)), out)
    rows = list(csv.DictReader(io.StringIO(out.getvalue(), newline="")))
    (cell,) = [row["text"] for row in rows if row["field"] == "site"]
    assert cell == f"'{text}"
