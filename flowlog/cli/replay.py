"""`flowlog replay`: a recording through the monitor, as fast as it goes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from flowlog.monitor.outputs import Event
    from flowlog.monitor.stream import StreamItem
    from flowlog.review.replay import Replayed
    from flowlog.rig.model import HealthyBoom, Rig


@click.command(name="replay")
@click.argument("recording", metavar="FILE.flog|ROUTE")
@click.option(
    "--rig", "rig_file", type=click.Path(path_type=Path), help="The rig file to judge it by."
)
@click.option("--data", type=click.Path(path_type=Path), help="For a ROUTE: the rig's data folder.")
@click.option("--json", "as_json", is_flag=True, help="Events and summary as JSON, in SI.")
def command(recording: str, rig_file: Path | None, data: Path | None, *, as_json: bool) -> None:
    """Run a recording, or a stored route, through the monitor again, as fast as it goes.

    Prints what the monitor says and when, then a summary. A FILE.flog needs --rig. A ROUTE is a
    number, 'last', an id or a name as in `flowlog review`; it is judged by the rig file and the
    calibrations of its day, or by --rig to see what another calibration would have said.
    """
    from flowlog.review.export_json import event_body
    from flowlog.review.print import echo
    from flowlog.review.replay import Replayed, replay, review_replayed
    from flowlog.review.text import sums_view
    from flowlog.review.words import clock_style

    replayed = Replayed()
    began_us, rig, baseline, items = _source(recording, rig_file, data, replayed)
    events: list[dict[str, Any]] = []

    def said(event: Event, elapsed_s: float) -> None:
        if as_json:
            events.append({"elapsed_s": round(elapsed_s, 3), **event_body(event)})
            return
        click.echo(f"{clock_style(elapsed_s):>9}  {event.change:<7}  {event.text}")

    replay(items, rig, replayed, said, baseline)
    review = review_replayed(replayed, rig, began_us)
    if as_json:
        click.echo(
            json.dumps(
                _json(replayed, review, events), indent=2, ensure_ascii=False, allow_nan=False
            )
        )
        return
    if not replayed.events:
        click.echo("The monitor had nothing to say.")
    click.echo()
    echo(sums_view(review))
    click.echo()
    click.echo(_speed(replayed))


def _source(
    recording: str, rig_file: Path | None, data: Path | None, replayed: Replayed
) -> tuple[int, Rig, HealthyBoom | None, Iterator[StreamItem]]:
    """Wall time of the beginning (0 if unknown), the rig, its baseline, and the stream."""
    from datetime import UTC, datetime

    from flowlog.calibrating.inuse import InUse
    from flowlog.review.find import NotFoundError, choose_folder, choose_route
    from flowlog.review.load import in_use_on
    from flowlog.review.replay import recorded_items
    from flowlog.rig.reader import read_rig
    from flowlog.store.archive import Archive

    path = Path(recording)
    if path.is_file() or path.suffix == ".flog":
        header, items = recorded_items(path, replayed)
        if rig_file is None:
            raise NotFoundError(f"{path}: by which rig is it to be judged? (add --rig RIGFILE)")
        try:
            started = datetime.fromisoformat(header.get("started", ""))
            began_us = round(started.replace(tzinfo=started.tzinfo or UTC).timestamp() * 1e6)
        except (ValueError, OverflowError):
            began_us = 0
        return began_us, read_rig(rig_file), None, items
    wanted = recording
    if path.is_dir():
        data, wanted = path, "last"
    archive = Archive.open(choose_folder(None if data else rig_file, data))
    routes = archive.routes()
    route = routes[choose_route(routes, wanted)]
    in_use = InUse(read_rig(rig_file)) if rig_file else in_use_on(archive, route)

    def stream() -> Iterator[StreamItem]:
        with archive:
            for _, item in archive.stream(route.id):
                yield item

    return route.began_wall_us, in_use.rig, in_use.baseline, stream()


def _speed(replayed: Replayed) -> str:
    from flowlog.review.words import duration

    text = (
        f"{replayed.samples:,} samples, {duration(replayed.board_s)} of board time, in "
        f"{replayed.took_s:.2f} s: {replayed.samples_per_s:,.0f} samples/s"
    )
    dropped = {name: count for name, count in replayed.lines.items() if name in _FAULTS and count}
    if dropped:
        told = ", ".join(f"{count} {_FAULTS[name]}" for name, count in dropped.items())
        text += f"\nLines that were dropped: {told}"
    return text


_FAULTS = {
    "bad_crc": "with a wrong checksum",
    "malformed": "malformed",
    "too_long": "too long",
    "not_text": "not text",
}


def _json(replayed: Replayed, review: Any, events: list[dict[str, Any]]) -> dict[str, Any]:
    from flowlog.review.export_json import summary_dict

    summary = summary_dict(review)
    return {
        "format": "flowlog replay",
        "version": 1,
        "samples": replayed.samples,
        "board_s": replayed.board_s,
        "took_s": replayed.took_s,
        "samples_per_s": replayed.samples_per_s,
        "lines": replayed.lines,
        "events": events,
        **{name: summary[name] for name in ("rig", "asked", "figures", "accuracy", "stops")},
    }
