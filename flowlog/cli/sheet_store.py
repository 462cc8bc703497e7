"""Where `flowlog sheet` finds what it works on, and how a revision gets into the store."""

from __future__ import annotations

import getpass
import os
import time
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Final, TextIO

import click

from flowlog.daemon.left_records import leave_record
from flowlog.record.answers import Answers, read_answers, to_remember
from flowlog.record.history import Revision
from flowlog.record.sheet import Sheet, State
from flowlog.review.files import write_whole
from flowlog.review.load import rig_of
from flowlog.review.words import clean
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreBusyError
from flowlog.store.lock import is_locked
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, RecordRow

_PATIENCE_S: Final = 6.0
"""The daemon looks into its inbox each second and commits at once."""


def remembered_path() -> Path:
    """The file with the answers that are the same on most days; it belongs to the person."""
    import platformdirs

    return platformdirs.user_config_path("flowlog") / "sheet.toml"


def remembered() -> tuple[str | None, Answers]:
    """The remembered set of fields and answers; nothing if nothing was remembered."""
    path = remembered_path()
    return read_answers(path, "remembered") if path.exists() else (None, {})


def remember(sheet: Sheet) -> Path:
    """Keep the answers that are the same on most days."""
    path = remembered_path()
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, lambda out: _put(out, to_remember(sheet.values, sheet.form)))
    return path


def revision_row(
    sheet: Sheet,
    state: State,
    *,
    by: str | None,
    before: Revision | None = None,
    reason: str = "",
) -> RecordRow:
    """The row of a new revision; `before` is the one that its author had before them."""
    uid = uuid.uuid4().hex
    return RecordRow(
        uid=uid,
        record_uid=uid if before is None else before.stored.row.record_uid,
        route_uid=sheet.measured.route_uid,
        stop_number=sheet.measured.stop,
        made_wall_us=time.time_ns() // 1000,
        made_by=_author(sheet, by),
        reason=clean(reason),
        form=sheet.form,
        state=state,
        supersedes=None if before is None else before.stored.row.uid,
        fields=sheet.plain(),
    )


def save(folder: Path, row: RecordRow) -> bool:
    """Put a revision into the store: through the daemon if one runs, else oneself.

    Returns:
        Whether the store has it; if not, the daemon takes it when it comes to it.
    """
    if not is_locked(folder):
        try:
            _write(folder, row)
        except StoreBusyError:
            pass  # a daemon has just started
        else:
            return True
    leave_record(folder, row)
    end = time.monotonic() + _PATIENCE_S
    while time.monotonic() < end:
        with Archive.open(folder) as archive:
            if any(stored.row.uid == row.uid for stored in archive.records()):
                return True
        time.sleep(0.2)
    return False


def _write(folder: Path, row: RecordRow) -> None:
    with Archive.open(folder) as archive:
        known = archive.rig()
    recorder = Recorder.open(folder, rig_of(known), known.text)
    try:
        recorder.commit(Batch(None, records=[row]))
    finally:
        recorder.close()


def write_out(path: Path, write: Callable[[TextIO], None]) -> None:
    """Write a file, or standard output for `-`."""
    if str(path) == "-":
        import io
        import sys

        from flowlog.review.print import writing_out

        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(encoding="utf-8")
        with writing_out():
            write(sys.stdout)
            sys.stdout.flush()
        return
    write_whole(path, write)
    click.echo(f"wrote {path}", err=True)


def _put(out: TextIO, text: str) -> None:
    out.write(text)


def _author(sheet: Sheet, by: str | None) -> str:
    if by and clean(by):
        return clean(by)
    if "applicator" in sheet.values:
        return sheet.values["applicator"].text
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return f"user {os.getuid()}"
