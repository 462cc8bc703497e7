"""`flowlog explain`: what one alert rested on, as a chart and in words."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

if TYPE_CHECKING:
    from flowlog.cli.progress import Progress
    from flowlog.review.explain import Explanation

_FILE = click.Path(path_type=Path, allow_dash=True, dir_okay=False)


@click.command(name="explain")
@click.argument("words", metavar="[FILE.flog] [EVENT]", nargs=-1)
@click.option("--route", default="last", help="Number, id or name as in flowlog review; else last.")
@click.option("--rig", type=click.Path(path_type=Path), help="The rig file: finds its data folder.")
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    help="The rig's data folder, or the folder that holds several of them.",
)
@click.option("--svg", type=_FILE, help="The chart as an SVG file; '-' is standard output.")
@click.option("--html", type=_FILE, help="Chart and words as one HTML file, to print or to file.")
@click.option("--json", type=_FILE, help="Everything in numbers, in SI.")
def command(
    words: tuple[str, ...],
    *,
    route: str,
    rig: Path | None,
    data: Path | None,
    svg: Path | None,
    html: Path | None,
    json: Path | None,
) -> None:
    """Show what one alert rested on: evidence, alternatives, threshold, checks.

    EVENT is a number from the alerts of flowlog review, a name such as tip_blocked.0.5123, or
    'last'. The route's stored samples run through the detector again, so what is shown is what it
    saw. A FILE.flog is a recording: it needs --rig. Each option with a FILE writes it there
    instead of showing it.
    """
    from flowlog.cli.progress import Progress
    from flowlog.review.print import echo

    with Progress() as progress:
        told = _told(words, route, rig, data, progress)
        progress.done()
    wanted = [(path, kind) for path, kind in ((svg, "svg"), (html, "html"), (json, "json")) if path]
    if not wanted:
        from flowlog.review.explain_text import explain_view

        echo(explain_view(told))
    for path, kind in wanted:
        _write(path, _as(told, kind))


def _told(
    words: tuple[str, ...], route: str, rig: Path | None, data: Path | None, progress: Progress
) -> Explanation:
    from flowlog.review.explain_load import explain_recording, explain_stored
    from flowlog.review.find import NotFoundError, choose_folder
    from flowlog.rig.reader import read_rig
    from flowlog.store.archive import Archive

    def through(samples: int) -> None:
        progress.says(f"running it through the detector again, {samples:,} samples")

    recording = words and (words[0].endswith(".flog") or Path(words[0]).is_file())
    rest = words[1:] if recording else words
    if len(rest) > 1:
        raise NotFoundError(f"one alert at a time, not {len(rest)}: {' '.join(rest)}")
    wanted = rest[0] if rest else "last"
    if recording:
        path = Path(words[0])
        if rig is None:
            raise NotFoundError(f"{path}: by which rig is it to be judged? (add --rig RIGFILE)")
        return explain_recording(path, read_rig(rig), wanted, through)
    folder = choose_folder(rig, data)
    progress.says("reading the route")
    with Archive.open(folder) as archive:
        return explain_stored(archive, route, wanted, through)


def _as(told: Explanation, kind: str) -> str:
    if kind == "json":
        from flowlog.review.explain_json import explain_json

        return explain_json(told)
    from flowlog.review.explain_svg import explain_html, explain_svg

    return explain_svg(told) if kind == "svg" else explain_html(told)


def _write(path: Path, text: str) -> None:
    from flowlog.review.files import write_whole
    from flowlog.review.print import writing_out

    if str(path) == "-":
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(encoding="utf-8")
        with writing_out():
            sys.stdout.write(text)
            sys.stdout.flush()
        return

    def put(out: TextIO) -> None:
        out.write(text)

    write_whole(path, put)
    click.echo(f"wrote {path}", err=True)
