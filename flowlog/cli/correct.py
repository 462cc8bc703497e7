"""`flowlog correct`: put a route right afterwards; what was logged stays."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from flowlog.review.route import RouteReview
    from flowlog.store.archive import Archive
    from flowlog.store.correction import Correction


@click.command(name="correct")
@click.argument("route")
@click.option("--rig", type=click.Path(path_type=Path), help="The rig file: finds its data folder.")
@click.option("--data", type=click.Path(path_type=Path), help="The rig's data folder.")
@click.option("--stop", type=int, help="The stop that is meant, by its number in flowlog review.")
@click.option("--name", help="Call the stop so ('' for no name).")
@click.option("--area", help="Its area, for instance '12000 ft2', or 'counted'.")
@click.option("--split", "split_at", help="In two, at a time of day 13:40:05, or +0:12:30.")
@click.option("--merge", is_flag=True, help="Make it one with the stop before it.")
@click.option(
    "--calibration",
    "calibrations",
    type=int,
    multiple=True,
    help="Derive the route anew with this calibration, by its number (one of each kind).",
)
@click.option("--rig-file-only", is_flag=True, help="Derive it anew with no calibration at all.")
@click.option("--as-watched", is_flag=True, help="Back to the calibrations of its day.")
@click.option("--tips", help="Say that tips were changed before this route, and how.")
@click.option("--undo", type=int, help="Take a correction back, by its number in the list.")
@click.option("--by", help="Who says so; default: who is logged in.")
@click.option("--reason", default="", help="Why.")
def command(
    route: str,
    rig: Path | None,
    data: Path | None,
    *,
    stop: int | None,
    name: str | None,
    area: str | None,
    split_at: str | None,
    merge: bool,
    calibrations: tuple[int, ...],
    rig_file_only: bool,
    as_watched: bool,
    tips: str | None,
    undo: int | None,
    by: str | None,
    reason: str,
) -> None:
    """Correct a route (as in flowlog review); without an option, list its corrections.

    One thing at a time: a stop's name, its area, split or merge it, other calibrations, new tips,
    or undo a correction. Nothing is overwritten: a correction is noted beside what was logged, and
    applied wherever the route is shown.
    """
    from flowlog.calibrating.rows import login_name
    from flowlog.correcting import hand, say
    from flowlog.review.find import choose_folder
    from flowlog.review.load import load_route
    from flowlog.review.progress import at_terminal
    from flowlog.store.archive import Archive

    stop_options = {"--name": name, "--area": area, "--split": split_at, "--merge": merge or None}
    given = [one for one, value in stop_options.items() if value is not None]
    if given and stop is None:
        raise click.UsageError(f"{given[0]}: which stop? (add --stop NUMBER)")
    others = {
        "--calibration": calibrations,
        "--rig-file-only": rig_file_only,
        "--as-watched": as_watched,
        "--tips": tips,
        "--undo": undo,
    }
    given += [one for one, value in others.items() if value]
    if len(given) > 1:
        raise click.UsageError(f"{' and '.join(given)}: one correction at a time")
    if stop is not None and not any(one in stop_options for one in given):
        raise click.UsageError("--stop: what about it? (--name, --area, --split or --merge)")

    folder = choose_folder(rig, data)
    with Archive.open(folder) as archive:
        review = load_route(archive, route, at_terminal("deriving anew"))
        if not given:
            _list(review)
            return
        said = _said(archive, review, stop, given[0], stop_options, others)
    row = say.row_of(review, said, by or login_name(), reason)
    if hand.hand_over(folder, row):
        with Archive.open(folder) as archive:
            review = load_route(archive, route, at_terminal("deriving anew"))
        number = [one.row.uid for one in review.corrections].index(row.uid) + 1
        click.echo(f"Correction {number} of route {review.number} holds.")
        if review.underived:
            click.echo(f"The route shows what was logged: {review.underived}.")
    else:
        click.echo("Given to the daemon, which has not taken it yet; it will.")


def _said(
    archive: Archive,
    review: RouteReview,
    stop: int | None,
    what: str,
    about_stop: Mapping[str, str | bool | None],
    others: Mapping[str, object],
) -> Correction:
    from flowlog.correcting import say
    from flowlog.review.load import in_use_with
    from flowlog.store.correction import UseCalibrations

    if stop is not None:
        meant = say.stop_numbered(review, stop)
        text = str(about_stop[what])
        match what:
            case "--name":
                return say.renamed(meant, text)
            case "--area":
                return say.with_area(meant, text)
            case "--split":
                return say.split(review, meant, text)
        return say.merged(meant)
    match what:
        case "--tips":
            return say.tips(str(others[what]))
        case "--undo":
            return say.undone(review, int(str(others[what])))
        case "--as-watched":
            return UseCalibrations(None)
    numbers = others["--calibration"]
    assert isinstance(numbers, tuple)
    known = archive.calibrations()
    uids = tuple(one.row.uid for one in known if one.id in numbers)
    in_use = in_use_with(archive, review.route, uids)
    return say.calibrated(review, known, numbers, in_use)


def _list(review: RouteReview) -> None:
    from flowlog.review.corrections_text import correction_lines

    lines = correction_lines(review)
    click.echo(f"Route {review.number}: " + ("nothing was corrected." if not lines else ""))
    for line in lines:
        click.echo(line)
