"""`flowlog sheet`: application records, kept for those who must show them."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from flowlog.record.history import Revision
    from flowlog.record.sheet import Sheet
    from flowlog.record.values import Value

Command = TypeVar("Command", bound=Callable[..., Any])
_PATH = click.Path(path_type=Path)
_OUT = click.Path(path_type=Path, allow_dash=True, dir_okay=False)


def _options(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    def add(function: Command) -> Command:
        for option in reversed(options):
            function = option(function)
        return function

    return add


_rig = _options(
    click.option("--rig", type=_PATH, metavar="RIGFILE", help="Which rig."),
    click.option("--data", type=_PATH, metavar="FOLDER", help="Its data folder."),
)
_files = _options(
    click.option("--html", type=_OUT, metavar="FILE", help="The sheet as a page to print."),
    click.option("--csv", type=_OUT, metavar="FILE", help="One line a field."),
    click.option("--json", type=_OUT, metavar="FILE", help="Everything, for programs."),
)
_answers = _options(
    click.option("--form", metavar="SET", help="The set of fields (flowlog sheet forms)."),
    click.option("--from", "source", type=_PATH, metavar="FILE", help="A TOML file of answers."),
    click.option(
        "--set",
        "words",
        multiple=True,
        metavar="KEY=VALUE",
        help="One answer; 2.KEY for the second product; nothing behind '=' empties the field.",
    ),
    click.option(
        "--ask/--no-ask", default=None, help="Ask for the rest; the default in a terminal."
    ),
    click.option("--all-fields", is_flag=True, help="Ask also for what the set does not need."),
    click.option("--by", metavar="NAME", help="Who writes this; default: the applicator."),
    click.option("--draft", is_flag=True, help="Save as a draft even if nothing is missing."),
    click.option("--complete", is_flag=True, help="Refuse to save while fields are missing."),
    click.option("--remember", is_flag=True, help="Keep applicator and the like for next time."),
)


@dataclass(frozen=True, slots=True)
class _Wishes:
    """What the options of `new` and `amend` say."""

    form: str | None
    source: Path | None
    words: Sequence[str]
    ask: bool | None
    all_fields: bool
    by: str | None
    draft: bool
    complete: bool
    remember: bool
    html: Path | None
    csv: Path | None
    json: Path | None

    @property
    def asking(self) -> bool:
        return sys.stdin.isatty() and sys.stdout.isatty() if self.ask is None else self.ask


@click.group(name="sheet", invoke_without_command=True)
@_rig
@click.pass_context
def command(ctx: click.Context, rig: Path | None, data: Path | None) -> None:
    """Application records: what went where, who did it, with which product.

    flowlog knows times, volume, area, rate and alerts, and asks for the rest. Records are amended
    by further revisions and never overwritten. The label is the law, and states ask for more than
    these sets of fields: flowlog says what is missing from a set, not that a rule is met.

    Without a command: the list of the rig's records. For a PDF, print the HTML page to one.
    """
    if ctx.invoked_subcommand is None:
        _list(rig, data)
    elif rig is not None or data is not None:
        raise click.UsageError(f"--rig and --data belong behind '{ctx.invoked_subcommand}'")


@command.command(name="list")
@_rig
def list_(rig: Path | None, data: Path | None) -> None:
    """List the rig's records."""
    _list(rig, data)


@command.command()
@click.argument("route", default="last")
@click.option("--stop", type=int, metavar="N", help="Only this stop; else the whole route.")
@_answers
@_files
@_rig
def new(route: str, stop: int | None, rig: Path | None, data: Path | None, **wishes: Any) -> None:
    """Make a record of ROUTE (as in flowlog review) or of one of its stops."""
    from flowlog.cli.sheet_store import remembered
    from flowlog.record.forms import DEFAULT_FORM
    from flowlog.record.measure import measure
    from flowlog.record.sheet import Sheet
    from flowlog.review.find import choose_folder
    from flowlog.review.load import load_route
    from flowlog.review.progress import at_terminal
    from flowlog.store.archive import Archive

    folder = choose_folder(rig, data)
    with Archive.open(folder) as archive:
        measured = measure(load_route(archive, route, at_terminal("deriving anew")), stop)
        former = [
            stored.number
            for stored in archive.records()
            if (stored.row.route_uid, stored.row.stop_number) == (measured.route_uid, stop)
        ]
    if former:
        click.echo(
            f"Record {former[-1]} is of the same place; flowlog sheet amend {former[-1]} would "
            "add to it. This makes another one.",
            err=True,
        )
    form, answers = remembered()
    sheet = Sheet(form or DEFAULT_FORM, measured).with_values(answers)
    _finish(folder, sheet, (), "", _Wishes(**wishes))


@command.command()
@click.argument("record", type=int)
@click.option("--reason", metavar="TEXT", help="Why; it is kept with the revision.")
@_answers
@_files
@_rig
def amend(
    record: int, reason: str | None, rig: Path | None, data: Path | None, **wishes: Any
) -> None:
    """Add a revision to RECORD. What was there stays; figures of the log are taken anew."""
    from dataclasses import replace

    from flowlog.record.history import revisions_of
    from flowlog.record.measure import measure
    from flowlog.review.find import choose_folder
    from flowlog.review.load import load_route
    from flowlog.review.progress import at_terminal
    from flowlog.store.archive import Archive

    folder = choose_folder(rig, data)
    with Archive.open(folder) as archive:
        known = revisions_of(archive.records(), record)
        sheet = known[-1].sheet
        if known[-1].stored.route_id is not None:
            uid = sheet.measured.route_uid
            review = load_route(archive, uid, at_terminal("deriving anew"))
            if (sheet.measured.stop or 0) <= len(review.summary.stops):
                sheet = replace(sheet, measured=measure(review, sheet.measured.stop))
    wanted = _Wishes(**wishes)
    if not (wanted.asking or wanted.words or wanted.source or wanted.form or wanted.draft):
        raise click.UsageError("nothing to amend: give --set, --from, --form or --ask")
    if reason is None:
        if not wanted.asking:
            raise click.UsageError('--reason is missing, for instance --reason "wind was missing"')
        reason = click.prompt("Why is it amended?")
    _finish(folder, sheet, known, reason, wanted)


@command.command()
@click.argument("record", type=int)
@click.option("--revision", type=int, metavar="N", help="An older one; else the newest.")
@_files
@_rig
def show(
    record: int,
    revision: int | None,
    html: Path | None,
    csv: Path | None,
    json: Path | None,
    rig: Path | None,
    data: Path | None,
) -> None:
    """Show a record, or write it to files. For a PDF, print the HTML page to one."""
    from flowlog.record.history import NoRecordError

    revisions = _revisions(rig, data, record)
    if revision is not None and not 1 <= revision <= len(revisions):
        raise NoRecordError(f"record {record} has revisions 1 to {len(revisions)}")
    _show(revisions, len(revisions) - 1 if revision is None else revision - 1, html, csv, json)


@command.command()
@click.argument("record", type=int)
@_rig
def history(record: int, rig: Path | None, data: Path | None) -> None:
    """List a record's revisions: who changed what, when and why."""
    from flowlog.cli.sheet_show import history_view
    from flowlog.record.layout import history_lines
    from flowlog.review.print import echo

    revisions = _revisions(rig, data, record)
    echo(history_view(revisions, history_lines(revisions)))


@command.command()
def forms() -> None:
    """List the sets of fields, with their sources."""
    from flowlog.cli.sheet_show import form_list
    from flowlog.review.print import echo

    echo(form_list())


@command.command()
def fields() -> None:
    """List all fields, with what to write."""
    from flowlog.cli.sheet_show import field_list
    from flowlog.review.print import echo

    echo(field_list())


@command.command()
@click.argument("form", required=False)
def template(form: str | None) -> None:
    """Print a file of answers to fill in, for `flowlog sheet new --from FILE`."""
    from flowlog.record.answers import template as written
    from flowlog.record.forms import DEFAULT_FORM

    click.echo(written(form or DEFAULT_FORM), nl=False)


def _list(rig: Path | None, data: Path | None) -> None:
    from flowlog.cli.sheet_show import record_list
    from flowlog.record.history import latest, revisions_of
    from flowlog.review.find import choose_folder
    from flowlog.review.print import echo
    from flowlog.store.archive import Archive

    with Archive.open(choose_folder(rig, data)) as archive:
        stored = archive.records()
    echo(record_list([revisions_of([row], row.number)[0] for row in latest(stored)]))


def _revisions(rig: Path | None, data: Path | None, record: int) -> list[Revision]:
    from flowlog.record.history import revisions_of
    from flowlog.review.find import choose_folder
    from flowlog.store.archive import Archive

    with Archive.open(choose_folder(rig, data)) as archive:
        return revisions_of(archive.records(), record)


def _finish(
    folder: Path, sheet: Sheet, known: Sequence[Revision], reason: str, wishes: _Wishes
) -> None:
    """Put the answers in, ask for the rest, save, and write what was asked for."""
    from flowlog.cli.sheet_store import remember, revision_row, save
    from flowlog.record.history import revisions_of
    from flowlog.record.sheet import SheetError, State
    from flowlog.store.archive import Archive

    first, before = (known[0], known[-1]) if known else (None, None)
    sheet = _answered(sheet, wishes)
    if wishes.asking:
        sheet = _asked(sheet, wishes, choose_form=before is None and wishes.form is None)
    missing = sheet.missing_words()
    if missing and wishes.complete:
        raise SheetError(f"not saved, missing: {'; '.join(missing)}")
    state: State = "draft" if missing or wishes.draft else "complete"
    if wishes.asking:
        _say_remarks(sheet, first)
        _say_missing(missing)
        from flowlog.cli.sheet_ask import confirm

        if not confirm("Save it?" if state == "complete" else "Save it as a draft?"):
            click.echo("Nothing was saved.")
            return
    row = revision_row(sheet, state, by=wishes.by, before=before, reason=reason)
    if wishes.remember:
        click.echo(f"remembered for next time: {remember(sheet)}", err=True)
    if not save(folder, row):
        click.echo(
            "The daemon has not taken the record yet; it lies in the rig's inbox and is not lost "
            "(flowlog sheet list shows it when it is in the store).",
            err=True,
        )
        return
    with Archive.open(folder) as archive:
        stored = archive.records()
    number = next(found.number for found in stored if found.row.uid == row.uid)
    revisions = revisions_of(stored, number)
    index = next(i for i, found in enumerate(revisions) if found.stored.row.uid == row.uid)
    click.echo(f"Saved: {revisions[index].name}, {state}.", err=True)
    if not wishes.asking:
        _say_remarks(sheet, first)
        _say_missing(missing)
    if wishes.html or wishes.csv or wishes.json:
        _show(revisions, index, wishes.html, wishes.csv, wishes.json)


def _answered(sheet: Sheet, wishes: _Wishes) -> Sheet:
    from dataclasses import replace

    from flowlog.record.answers import answer_of, read_answers
    from flowlog.record.forms import form_of

    new: dict[tuple[int, str], Value | None] = {}
    form = None
    if wishes.source is not None:
        form, given = read_answers(wishes.source)
        new.update(given)
    new.update(answer_of(word) for word in wishes.words)
    form = form_of(wishes.form or form or sheet.form).key
    return replace(sheet, form=form).with_values(new)


def _asked(sheet: Sheet, wishes: _Wishes, *, choose_form: bool) -> Sheet:
    from dataclasses import replace

    from flowlog.cli.sheet_ask import ask_form, ask_sheet

    try:
        if choose_form:
            sheet = replace(sheet, form=ask_form(sheet.form))
        return ask_sheet(sheet, everything=wishes.all_fields)
    except click.Abort:
        click.echo("\nNothing was saved.", err=True)
        raise


def _say_missing(missing: Sequence[str]) -> None:
    if missing:
        click.echo("Missing for this set of fields: " + "; ".join(missing) + ".", err=True)


def _say_remarks(sheet: Sheet, first: Revision | None) -> None:
    from datetime import UTC, datetime

    from flowlog.record.checks import remarks
    from flowlog.record.layout import day_of

    today = datetime.now(UTC).astimezone().date()
    for remark in remarks(sheet, today, None if first is None else day_of(first)):
        click.echo(f"To check: {remark}", err=True)


def _show(
    revisions: Sequence[Revision],
    index: int,
    html: Path | None,
    csv: Path | None,
    json: Path | None,
) -> None:
    from flowlog.cli.sheet_show import page_view
    from flowlog.cli.sheet_store import write_out
    from flowlog.record.export import record_csv, record_json
    from flowlog.record.html import html as html_text
    from flowlog.record.layout import page_of
    from flowlog.review.print import echo

    if html is None and csv is None and json is None:
        echo(page_view(page_of(revisions, index)))
        return
    if html is not None:
        text = html_text(page_of(revisions, index))
        write_out(html, lambda out: _put(out, text))
    if csv is not None:
        write_out(csv, lambda out: record_csv(revisions[index], out))
    if json is not None:
        write_out(json, lambda out: record_json(revisions[index], out))


def _put(out: Any, text: str) -> None:
    out.write(text)
