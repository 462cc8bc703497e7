"""One document, two files: nothing breaks them, nothing gets into them, neither says less."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from pages import Reader, numbers, pdf_text, squeezed, texts

from flowlog.report.document import (
    Block,
    Bullets,
    Document,
    Fact,
    Facts,
    Heading,
    Paragraph,
    Picture,
    Table,
)
from flowlog.report.html import html
from flowlog.report.pdf import BOXES, pdf, usual_paper
from flowlog.review.words import clean

MADE_US = 1_780_000_000_000_000
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 30"><rect width="90" height="30" '
    'fill="#ddd"/><text x="3" y="20" font-size="9">drawn 77</text></svg>'
)
NASTY = """</style><script>alert("x")</script> & 'y' <b> #let x = 1; *a* _b_ $c$ `d` \\ @e // f"""
TURNED = "abc\u202eevil\u202c \u2066x"
"""Characters that would turn the order of the letters after them."""


def document(text: str) -> Document:
    """The same text everywhere that a person's text may stand."""
    blocks: tuple[Block, ...] = (
        Heading(text),
        Paragraph(text),
        Paragraph(text, strong=True),
        Bullets((text, "another"), framed=True),
        Facts((Fact("Place", text, text), Fact("Volume", "37.7 gal"))),
        Table(
            ("Stop", "Rate"),
            ((text, "1.05"), ("2", "1.10")),
            right=frozenset({1}),
            total=(text, "1.07"),
        ),
        Picture(SVG, "a drawing"),
    )
    return Document(text, text, blocks, f"route {text}")


PLAIN = document("Park")
any_text = st.text(st.characters(), max_size=60)
of_the_fonts = st.text(
    st.characters(codec="latin-1", categories=["L", "N", "P", "S"])
    | st.sampled_from("ΑΒΓαβγδЖЗИжзи“”–—…’") | st.just(" "),
    max_size=60,
)  # fmt: skip
"""Letters that the typesetter's own fonts have, whatever the machine has."""


@given(any_text)
@example(NASTY)
@example(TURNED)
@example("\ud800 half a pair")
@example("x" * 5000)
@example("שלום עולם مرحبا بالعالم 你好 👩‍🌾")
def test_no_text_becomes_markup_in_the_html(text: str) -> None:
    written, plain = html(document(text)), Reader(html(PLAIN))
    page = Reader(written)
    assert page.tags == plain.tags
    assert page.attributes == plain.attributes
    assert set(page.values) <= set(plain.values)
    shown = clean(text)
    assert squeezed(page.text).count(squeezed(shown)) >= 9
    style = re.findall(r"<style>(.*?)</style>", written, re.S)
    assert len(style) == 1
    assert style[0].count("{") == style[0].count("}")
    assert not set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069") & set(written)


@settings(max_examples=40, deadline=None)
@given(any_text)
@example(NASTY)
@example(TURNED)
@example("\ud800 half a pair")
@example("x" * 5000)
@example("שלום עולם مرحبا بالعالم 你好 👩‍🌾")
def test_any_text_can_be_set_as_a_pdf(text: str) -> None:
    assert pdf(document(text), "letter", MADE_US).startswith(b"%PDF-")


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(text=of_the_fonts)
@example(text=NASTY)
@example(text="a word of " + "many" * 60 + " letters")
def test_both_files_say_the_same(text: str, tool, tmp_path: Path) -> None:
    made = document(text)
    of_pdf = squeezed(pdf_text(tool("pdftotext"), pdf(made, "a4", MADE_US), tmp_path, "-raw"))
    of_html = squeezed(Reader(html(made)).text)
    for said in texts(made.plain()["blocks"]):
        assert squeezed(said) in of_pdf
        assert squeezed(said) in of_html
    assert "drawn77" in of_pdf
    assert "drawn77" in of_html


def test_a_word_longer_than_a_line_stays_on_the_page(tool, tmp_path: Path) -> None:
    content = pdf(document("y" * 400), "letter", MADE_US)
    boxes = pdf_text(tool("pdftotext"), content, tmp_path, "-bbox")
    width = float(re.findall(r'<page width="([\d.]+)"', boxes)[0])
    assert width == pytest.approx(8.5 * 72)
    right = [float(x) for x in re.findall(r'xMax="([\d.]+)"', boxes)]
    assert max(right) <= width - 40


def test_a_long_table_repeats_its_head_and_every_page_is_numbered(tool, tmp_path: Path) -> None:
    rows = tuple((f"stop {number}", f"{number}.5") for number in range(150))
    made = Document("Long", "", (Table(("Which stop", "Rate"), rows),), "the foot")
    text = pdf_text(tool("pdftotext"), pdf(made, "a4", MADE_US), tmp_path, "-layout")
    pages = text.split("\f")[:-1]
    assert len(pages) >= 3
    for number, page in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in page
        assert "the foot" in page
        assert "Which stop" in page
    assert numbers(text) >= {f"{number}.5" for number in range(150)}


@pytest.mark.parametrize(
    ("paper", "millimetres"), [("letter", (215.9, 279.4)), ("a4", (210.0, 297.0))]
)
def test_the_paper_is_the_one_asked_for(paper, millimetres, tool, tmp_path: Path) -> None:
    """US Letter is 8.5 by 11 inches; A4 is that of ISO 216."""
    boxes = pdf_text(tool("pdftotext"), pdf(PLAIN, paper, MADE_US), tmp_path, "-bbox")
    size = re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', boxes)[0]
    assert [float(one) / 72 * 25.4 for one in size] == pytest.approx(millimetres, abs=0.2)


def test_the_usual_paper_goes_with_the_units() -> None:
    assert (usual_paper("us"), usual_paper("metric")) == ("letter", "a4")


def test_the_same_document_at_the_same_time_is_the_same_file() -> None:
    assert pdf(PLAIN, "a4", MADE_US) == pdf(PLAIN, "a4", MADE_US)
    assert html(PLAIN) == html(PLAIN)


def test_a_pdf_can_be_archived_and_read_out() -> None:
    """PDF/A-2a, ISO 19005-2, and PDF/UA-1, ISO 14289-1, by what the file says of itself."""
    content = pdf(document("Mill Lane 9, שלום"), "a4", MADE_US)
    assert re.search(rb"<pdfaid:part>2</pdfaid:part>", content)
    assert re.search(rb"<pdfaid:conformance>A</pdfaid:conformance>", content)
    assert re.search(rb"<pdfuaid:part>1</pdfuaid:part>", content)


def test_a_letter_that_no_font_has_is_owned_up_to(tool, tmp_path: Path) -> None:
    """Of a script (Toto) that hardly any machine has a font for; one that has it shows it."""
    content = pdf(document("Park \U0001e290"), "a4", MADE_US)
    text = squeezed(pdf_text(tool("pdftotext"), content, tmp_path, "-raw"))
    assert (squeezed(BOXES) in text) != (b"pdfaid" in content)
    assert "Park" in text


def test_the_html_loads_nothing_and_runs_nothing() -> None:
    written = html(PLAIN)
    page = Reader(written)
    assert not page.tags & {"script", "link", "img", "iframe", "object", "form", "a"}
    assert not {name for name in page.attributes if name.startswith("on")}
    assert "src" not in page.attributes
    assert "url(" not in written
    assert "@import" not in written


def test_the_html_prints_in_black_on_white() -> None:
    style = re.findall(r"<style>(.*?)</style>", html(PLAIN), re.S)[0]
    assert set(re.findall(r"#[0-9a-f]{3,6}", style)) == {"#000", "#777", "#fff"}


def test_a_block_that_holds_something_else_is_refused() -> None:
    with pytest.raises(TypeError):
        Document("", "", (Bullets(({"a": "b"},)),), "").plain()  # type: ignore[arg-type]
