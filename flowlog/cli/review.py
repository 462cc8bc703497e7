"""`flowlog review`: the routes of a rig afterwards, in words or for other programs."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TextIO, cast

import click

if TYPE_CHECKING:
    from flowlog.review.route import RouteReview


_FILE = click.Path(path_type=Path, allow_dash=True, dir_okay=False)


@click.command(name="review")
@click.argument("route", required=False)
@click.option("--rig", type=click.Path(path_type=Path), help="The rig file: finds its data folder.")
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    help="The rig's data folder, or the folder that holds several of them.",
)
@click.option("--csv", type=_FILE, help="Readings, one a second, in the rig's units.")
@click.option("--json", type=_FILE, help="Readings, events and summary, in SI.")
@click.option("--summary-csv", type=_FILE, help="One line a stop, in the rig's units.")
@click.option("--summary-json", type=_FILE, help="Sums and how sure they are, in SI.")
def command(
    route: str | None,
    rig: Path | None,
    data: Path | None,
    *,
    csv: Path | None,
    json: Path | None,
    summary_csv: Path | None,
    summary_json: Path | None,
) -> None:
    """List the routes of a rig, or show one: what went where, at what rate, how sure.

    ROUTE is a number from the list, 'last', the beginning of an id, or a name. Each option with a
    FILE writes that route to it instead of showing it; '-' is standard output. CSV comes in the
    units of the rig file and JSON in SI; every column and key names its unit.
    """
    from flowlog.review import export_csv, export_json
    from flowlog.review.find import choose_folder
    from flowlog.review.load import load_numbered, load_route, rig_of
    from flowlog.review.print import echo
    from flowlog.review.progress import at_terminal
    from flowlog.review.text import route_list, route_view
    from flowlog.store.archive import Archive

    exports: tuple[tuple[Path | None, Callable[[RouteReview, TextIO], None]], ...] = (
        (csv, export_csv.readings_csv),
        (json, export_json.readings_json),
        (summary_csv, export_csv.summary_csv),
        (summary_json, export_json.summary_json),
    )
    wanted: list[tuple[Path, Callable[[RouteReview, TextIO], None]]] = [
        (path, export) for path, export in exports if path is not None
    ]
    with Archive.open(choose_folder(rig, data)) as archive:
        if route is None and not wanted:
            reviews = (
                load_numbered(archive, number, row, at_terminal(f"deriving route {number} anew"))
                for number, row in enumerate(archive.routes(), 1)
            )
            echo(route_list(rig_of(archive.rig()), reviews))
            return
        review = load_route(archive, route or "last", at_terminal("deriving anew"))
    if not wanted:
        echo(route_view(review))
    for path, export in wanted:
        _write(path, export, review)


def _write(path: Path, export: Callable[[RouteReview, TextIO], None], review: RouteReview) -> None:
    from flowlog.review.files import Counted, write_whole
    from flowlog.review.print import writing_out
    from flowlog.review.progress import at_terminal

    if str(path) == "-":
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(encoding="utf-8")
        with writing_out():
            export(review, sys.stdout)
            sys.stdout.flush()
        return
    told = at_terminal(f"writing {path}")
    # A line a reading is what takes the time; a summary is written before anybody looks.
    lines = max(len(review.columns["seconds"]), 1)

    def write(out: TextIO) -> None:
        counted = Counted(out, lambda done: told(min(done / lines, 0.99)))
        export(review, cast("TextIO", counted))

    write_whole(path, write)
    told(1.0)
    click.echo(f"wrote {path}", err=True)
