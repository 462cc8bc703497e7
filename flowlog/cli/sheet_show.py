"""Application records on a terminal: one sheet, lists, the sets of fields."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from flowlog.record.fields import FIELDS, SECTIONS
from flowlog.record.forms import FORMS, NOTICES
from flowlog.record.history import Revision
from flowlog.record.layout import Line, Page
from flowlog.review.words import local_time


def page_view(page: Page) -> RenderableType:
    """One sheet."""
    parts: list[RenderableType] = [
        Text(page.title, style="bold"),
        Text(page.subtitle),
        Text(page.state, style="bold"),
    ]
    if page.missing:
        parts.append(Text("Missing: " + "; ".join(page.missing), style="bold"))
    for number, product in enumerate(page.products, 1):
        parts += _block(f"Product {number} (undiluted)", product)
    for title, lines in page.sections:
        if lines:
            parts += _block(title, lines)
    parts += _block("What the log says", page.log)
    for title, sentences in (
        ("Alerts", page.alerts or ("None.",)),
        ("To check", page.remarks),
        ("Notices", page.notices),
        ("History", page.history),
    ):
        if sentences:
            parts += [Text(""), Text(title, style="bold")]
            parts += [_indented(sentence) for sentence in sentences]
    return Group(*parts)


def record_list(newest: Sequence[Revision]) -> RenderableType:
    """The newest revision of each record, one a line."""
    if not newest:
        return Text("No application record was made yet (flowlog sheet new makes one).")
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for title in ("record", "rev.", "route", "stop", "date", "state", "missing"):
        table.add_column(title, overflow="fold")
    for revision in newest:
        sheet, stored = revision.sheet, revision.stored
        day = sheet.value("date")
        count = len(sheet.missing())
        table.add_row(
            f"{stored.number}",
            f"{stored.revision}",
            f"{sheet.measured.route}",
            "all" if sheet.measured.stop is None else f"{sheet.measured.stop}",
            "?" if day is None else day.text,
            stored.row.state,
            f"{count} of the set '{sheet.form}'" if count else "nothing",
        )
    return table


def history_view(revisions: Sequence[Revision], lines: Sequence[str]) -> RenderableType:
    """A record's revisions, oldest first."""
    title = f"Record {revisions[0].stored.number}: {len(revisions)} revision"
    parts: list[RenderableType] = [Text(title + "s" * (len(revisions) > 1), style="bold")]
    return Group(*parts, *(_indented(line) for line in lines))


def form_list() -> RenderableType:
    """The sets of fields with their sources."""
    parts: list[RenderableType] = []
    for form in FORMS:
        parts += [
            Text(f"{form.key}: {form.title}", style="bold"),
            _indented("Fields: " + ", ".join(form.fields)),
            _indented(f"Keep: {form.keep_because}."),
            _indented(f"Source: {form.source}."),
            Text(""),
        ]
    return Group(*parts, *(Text(notice) for notice in NOTICES))


def field_list() -> RenderableType:
    """All fields, with what to write."""
    table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    for section, title in SECTIONS.items():
        table.add_row(Text(title, style="bold"))
        for entry in FIELDS:
            if entry.section == section:
                told = f"{entry.label}{f' ({entry.help})' if entry.help else ''}"
                table.add_row(f"  {entry.key}", told, f"'{entry.example}'")
    return table


def made_line(revision: Revision) -> str:
    when = local_time(revision.stored.row.made_wall_us, with_date=True, second=False)
    return f"{revision.name}, {when}, {revision.stored.row.state}"


def _block(title: str, lines: Sequence[Line]) -> list[RenderableType]:
    table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(max_width=30)
    table.add_column(overflow="fold")
    for line in lines:
        if line.text or line.wanted:
            note = f"  ({line.note})" if line.note else ""
            table.add_row(Text(f"  {line.label}"), Text((line.text or "-- missing") + note))
    return [Text(""), Text(title, style="bold"), table]


def _indented(sentence: str) -> RenderableType:
    return Padding(Text(sentence), (0, 0, 0, 2))
