"""`flowlog report`: a route or a stop as pages to print, to file or to hand over."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Literal

import click

if TYPE_CHECKING:
    from flowlog.cli.progress import Progress
    from flowlog.report.gather import Source
    from flowlog.report.pdf import Paper

_OUT = click.Path(path_type=Path, allow_dash=True, dir_okay=False)


@click.command(name="report")
@click.argument("route", default="last")
@click.option("--stop", type=int, metavar="N", help="Only this stop; else the whole route.")
@click.option("--pdf", type=_OUT, metavar="FILE", help="As PDF; '-' is standard output.")
@click.option("--html", type=_OUT, metavar="FILE", help="As one HTML file, complete in itself.")
@click.option(
    "--paper",
    type=click.Choice(["letter", "a4"]),
    help="Of the PDF; else letter for US units and A4 for metric ones.",
)
@click.option("--check", metavar="FINGERPRINT", help="Say whether the data is still the same.")
@click.option("--rig", type=click.Path(path_type=Path), help="The rig file: finds its data folder.")
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    help="The rig's data folder, or the folder that holds several of them.",
)
def command(
    route: str,
    *,
    stop: int | None,
    pdf: Path | None,
    html: Path | None,
    paper: Literal["letter", "a4"] | None,
    check: str | None,
    rig: Path | None,
    data: Path | None,
) -> None:
    """A report of ROUTE, or of one of its stops, as PDF or HTML with the same content.

    ROUTE is a number from flowlog review, 'last', the beginning of an id, or a name. Without
    --pdf and --html a PDF is put into this folder, named after rig and route. The report holds
    totals and stops, alerts, a chart, the calibrations used, how sure everything is, and the
    application records of the route. A fingerprint at its end says which data it was made from;
    --check compares that with the data now.
    """
    from flowlog.cli.progress import Progress
    from flowlog.report.gather import gather
    from flowlog.report.pdf import usual_paper
    from flowlog.review.find import choose_folder
    from flowlog.store.archive import Archive

    folder = choose_folder(rig, data)
    with Progress() as progress:
        progress.says("reading the route")
        with Archive.open(folder) as archive:
            source = gather(
                archive,
                route,
                stop,
                lambda share: progress.says(f"deriving the route anew, {100 * share:.0f} %"),
            )
        if check is not None:
            progress.done()
            _check(source, check)
            return
        if pdf is None and html is None:
            pdf = Path(f"{_name(source)}.pdf")
        chosen = paper or usual_paper(source.review.rig.units)
        _make(source, pdf, html, chosen, progress)


def _make(
    source: Source, pdf: Path | None, html: Path | None, paper: Paper, progress: Progress
) -> None:
    import time

    from flowlog.report.content import document_of
    from flowlog.report.html import html as html_of
    from flowlog.report.pdf import pdf as pdf_of

    made_us = time.time_ns() // 1000
    progress.says("putting the report together")
    document = document_of(source, made_us)
    if html is not None:
        _write(html, html_of(document).encode(), progress)
    if pdf is not None:
        progress.says("setting the pages")
        _write(pdf, pdf_of(document, paper, made_us), progress)


def _write(path: Path, content: bytes, progress: Progress) -> None:
    from flowlog.review.files import write_whole_bytes
    from flowlog.review.print import writing_out

    if str(path) == "-":
        with writing_out():
            sys.stdout.buffer.write(content)
            sys.stdout.buffer.flush()
        return

    def put(out: BinaryIO) -> None:
        out.write(content)

    write_whole_bytes(path, put)
    progress.done()
    click.echo(f"wrote {path}", err=True)


def _check(source: Source, said: str) -> None:
    """Exit 1 if the data is not what the fingerprint is of; its beginning is enough."""
    from flowlog.report.fingerprint import beginning

    wanted = beginning(said)
    if source.fingerprint.startswith(wanted):
        click.echo(f"Route {source.review.number}: the data is that of the report.")
        return
    click.echo(
        f"Route {source.review.number}: the data is not that of the report any more "
        f"(its fingerprint now is {source.fingerprint[: max(8, len(wanted))]}...): corrections, "
        "records or a clock that was set change it, and so does a route that went on."
    )
    click.get_current_context().exit(1)


def _name(source: Source) -> str:
    stop = "" if source.stop is None else f"-stop-{source.stop.number}"
    return f"{source.review.rig.slug}-route-{source.review.number}{stop}"
