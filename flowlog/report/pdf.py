"""A document as a PDF, set by Typst.

The template `report.typ` gets the document as data, so that nothing a person typed is ever read
as markup. The fonts come with the typesetter; letters that they lack are taken from those of the
machine.

A report is kept for years, so the file is PDF/A-2a (to be archived) and PDF/UA-1 (to be read out).
Both forbid letters that no font has; with such a one in a name the file is an ordinary PDF, and
says so.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from importlib import resources
from typing import Final, Literal

from flowlog.errors import FlowlogError
from flowlog.report.document import Document
from flowlog.units import Units

Paper = Literal["letter", "a4"]

_NAMES: Final[dict[Paper, str]] = {"letter": "us-letter", "a4": "a4"}


class PdfError(FlowlogError):
    """No PDF can be made here."""


BOXES: Final = (
    "Some letters in this report are in none of the fonts of the machine that made it and stand as "
    "boxes here; the HTML report has them."
)


def usual_paper(units: Units) -> Paper:
    """The paper that goes with the units."""
    return "letter" if units == "us" else "a4"


def pdf(document: Document, paper: Paper, made_us: int) -> bytes:
    """The file's bytes; the same for the same document and time.

    Raises:
        PdfError: the typesetter is not installed.
    """
    try:
        import typst
    except ImportError as error:
        raise PdfError(
            "a PDF needs the package typst, which is not installed here (pip install typst; "
            "or take the HTML and print it)"
        ) from error
    template = (resources.files("flowlog.report") / "report.typ").read_bytes()

    def made(note: str, *, archived: bool) -> bytes:
        found = typst.compile(
            template,
            format="pdf",
            sys_inputs={
                "document": json.dumps(document.plain()),
                "paper": _NAMES[paper],
                "note": note,
            },
            timestamp=_moment(made_us),
            pdf_standards=["a-2a", "ua-1"] if archived else [],
        )
        assert isinstance(found, bytes)
        return found

    try:
        return made("", archived=True)
    except typst.TypstError:
        pass  # a letter without a shape
    try:
        return made(BOXES, archived=False)
    except typst.TypstError as error:
        raise PdfError(f"the pages cannot be set: {error}") from error


def _moment(made_us: int) -> int:
    return int(datetime.fromtimestamp(made_us / 1e6, UTC).timestamp())
