"""The alerts and the corrections of a route as CSV; sizes as they are said, with their unit."""

from __future__ import annotations

import csv
from typing import TextIO

from flowlog.review.corrections_text import told_corrections
from flowlog.review.export_csv import cell
from flowlog.review.places import time_line
from flowlog.review.route import RouteReview
from flowlog.review.words import clean, iso_times


def alerts_csv(review: RouteReview, out: TextIO) -> None:
    """One line an alert, those that were only noted, too. Open `out` with newline=""."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        [
            *("alert", "code", "noted", "stop", "began_second", "began_utc", "said_second"),
            *("cleared_second", "size", "size_low", "size_high", "size_unit"),
            *("text", "largest_text", "to_check"),
        ]
    )
    line = time_line(review.columns)
    for alert in review.summary.alerts:
        stop = next((one.number for one in review.summary.stops if alert in one.alerts), "")
        since = line.second_of(alert.since.segment, alert.since.t_us)
        cleared = alert.cleared
        writer.writerow(
            [
                alert.alert,
                alert.code,
                alert.noted,
                stop,
                f"{since:.1f}",
                iso_times(line.wall_of(since))[1] or "",
                f"{line.second_of(alert.opened.segment, alert.opened.t_us):.1f}",
                "" if cleared is None else f"{line.second_of(cleared.segment, cleared.t_us):.1f}",
                cell(alert.size),
                cell(alert.size_low),
                cell(alert.size_high),
                alert.size_unit,
                clean(alert.text),
                clean(alert.worst_text),
                "; ".join(alert.checks),
            ]
        )


def corrections_csv(review: RouteReview, out: TextIO) -> None:
    """One line a correction, those that were undone, too. Open `out` with newline=""."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["number", "kind", "holds", "text", "by", "made_utc", "reason"])
    told = told_corrections(review)
    for number, (one, text) in enumerate(zip(review.corrections, told, strict=True), 1):
        writer.writerow(
            [
                number,
                _plain(one.row.kind),
                one.holds,
                _plain(text),
                _plain(one.row.made_by),
                iso_times(one.row.made_wall_us)[1] or "",
                _plain(one.row.reason),
            ]
        )


def _plain(text: str) -> str:
    """A spreadsheet would run a text that begins like a formula; an apostrophe stops it."""
    shown = clean(text)
    return f"'{shown}" if shown[:1] in {"=", "+", "-", "@"} else shown
