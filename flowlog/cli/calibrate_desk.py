"""What the commands of `flowlog calibrate` have in common: rig, store, board, and storing."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TextIO

import click

from flowlog.calibrating import inuse
from flowlog.calibrating.answers import read_temperature, read_yes
from flowlog.calibrating.draft import Draft
from flowlog.calibrating.feed import Feed, SourceFeed, StoreFeed
from flowlog.calibrating.interview import Interview, Left
from flowlog.calibrating.rows import (
    LONGEST_NAME,
    LONGEST_NOTE,
    NOTED,
    Noted,
    clean_text,
    login_name,
)
from flowlog.calibrating.session import STEPS, offer_draft, rows_of, run_session
from flowlog.calibrating.show import (
    TITLES,
    comparison_view,
    history_view,
    result_view,
)
from flowlog.calibrating.svg import catch_svg
from flowlog.calibrating.words import day
from flowlog.calibrating.work import Work
from flowlog.calibration.apply import Result
from flowlog.calibration.catch import CatchResult
from flowlog.calibration.faults import CalibrationError
from flowlog.cli.calibrate_terminal import NoTerminalError, Terminal
from flowlog.errors import FlowlogError
from flowlog.review.files import write_whole
from flowlog.review.find import NotFoundError, choose_folder
from flowlog.review.load import rig_of
from flowlog.review.print import echo
from flowlog.rig.folders import resolve_data_folder
from flowlog.rig.reader import read_rig
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreBusyError, StoreMissingError
from flowlog.store.lock import is_locked
from flowlog.store.rows import CalibrationRow, StoredCalibration
from flowlog.units import Units


class Desk:
    """One command's surroundings; see `flowlog.cli.calibrate.command` for the options."""

    def __init__(
        self,
        rig_file: Path,
        units: str | None,
        data: Path | None,
        port: str | None,
    ) -> None:
        self._rig_file = rig_file
        self._by: str | None = None
        self._note: str | None = None
        self._water_c: float | None = None
        self._port = port
        self._yes = False
        if str(rig_file) == "-":
            self._folder = choose_folder(None, data)
            with Archive.open(self._folder) as archive:
                self._rig = rig_of(archive.rig())
        else:
            self._rig = read_rig(rig_file)
            self._folder = (data or resolve_data_folder(self._rig)).absolute()
        self._units: Units = self._rig.units if units is None else _units(units)

    def note(self, by: str | None, water: str | None, note: str | None, *, yes: bool) -> None:
        """What is kept beside the results, as far as it is told here."""
        if by is not None:
            self._by = clean_text(by, LONGEST_NAME, "--by")
        if water is not None:
            self._water_c = read_temperature(water)[0]
        if note is not None:
            self._note = clean_text(note, LONGEST_NOTE, "--note")
        self._yes = self._yes or yes

    # --- the ways to calibrate ----------------------------------------------------------------

    def guided(self, step: str | None) -> None:
        """Ask at the terminal: one step, or all."""
        self._need_rig_file()
        if not sys.stdin.isatty():
            raise NoTerminalError(
                "questions need a terminal to answer on (or give the step's options; "
                "flowlog calibrate RIGFILE STEP --help)"
            )
        talk = Terminal()
        draft = Draft.open(self._folder)
        click.echo(f"Calibrating: {self._rig.name}")
        try:
            resumed = offer_draft(talk, draft)
            steps: tuple[str, ...] = STEPS
            if step is not None:
                steps = tuple(one for one in STEPS if one == step or (resumed and draft.keys(one)))
            work = self._work(Interview(talk, draft, self._units))
            rows = run_session(work, steps, self._by, login_name(), resumed=resumed)
            if rows:
                self._store([self._noted(row) for row in rows])
                draft.delete()
        except (Left, KeyboardInterrupt):
            talk.progress("")
            if len(draft):
                click.echo("Left. Nothing was stored; your answers are kept.")
                click.echo(f"Go on with: flowlog calibrate {self._rig_file}")
            else:
                click.echo("Left. Nothing was stored.")

    def step(self, step: str, given: Mapping[str, Any], needs: str | None = None) -> dict[str, Any]:
        """One step: from its options, or guided when there are none."""
        told = {key: value for key, value in given.items() if value}
        if not told:
            self.guided(step)
            return {}
        if needs is not None and needs not in told:
            raise click.UsageError(f"{step}: --{needs.removesuffix('s')} is missing")
        return self.at_once({step: told}, "")

    def at_once(self, tables: Mapping[str, Mapping[str, Any]], place: str) -> dict[str, Result]:
        """Steps from texts; shown, then stored with --yes or after a yes."""
        from flowlog.calibrating.inputs import build

        self._need_rig_file()

        work = self._work(None)
        for step in (one for one in STEPS if one in tables):
            result = build(work, step, tables[step], place)
            work.results[step] = result
            click.echo(TITLES[step])
            echo(result_view(result, self._units))
        noted = Noted(self._by or login_name(), self._water_c, self._note)
        if self._confirmed():
            self._store(rows_of(work, noted))
        return work.results

    def _need_rig_file(self) -> None:
        if str(self._rig_file) == "-":
            raise NotFoundError("which rig is to be calibrated? (give its rig file)")

    def _confirmed(self) -> bool:
        if self._yes:
            return True
        if not sys.stdin.isatty():
            click.echo("Not stored: add --yes to store it.", err=True)
            return False
        talk = Terminal()
        while True:
            try:
                text = talk.line("Store it? (yes, no): ")
                stored, _ = read_yes(text)
            except Left:
                stored = False
            except FlowlogError as fault:
                talk.say(f"  {fault}.")
                continue
            if not stored:
                click.echo("Nothing was stored.")
            return stored

    def _noted(self, row: CalibrationRow) -> CalibrationRow:
        if self._note:
            row.evidence[NOTED]["note"] = self._note
        return row

    def _work(self, interview: Interview | None) -> Work:
        talk = interview or Interview(Terminal(), Draft(self._folder), self._units)
        in_use = inuse.load(self._folder, self._rig)
        return Work(talk, self._rig, in_use, self._units, self._feed, water_c=self._water_c)

    def _feed(self) -> Feed:
        if is_locked(self._folder):
            return StoreFeed(self._folder)
        from flowlog.link.port import Port

        return SourceFeed(Port(self._port or self._rig.board.port, self._rig.board.baud))

    # --- storing ------------------------------------------------------------------------------

    def _store(self, rows: Sequence[CalibrationRow]) -> None:
        """Into the store, or through the inbox where the daemon has it."""
        from flowlog.store.recorder import Recorder

        text = self._rig_file.read_text(encoding="utf-8")
        try:
            recorder = Recorder.open(self._folder, self._rig, text)
        except StoreBusyError:
            from flowlog.daemon.left_calibrations import leave_calibration

            for row in rows:
                leave_calibration(self._folder, row)
            click.echo("Given to the daemon. It begins a new route with it half a minute after")
            click.echo("the boom is shut; until then it watches as before.")
            return
        try:
            numbers = [recorder.add_calibration(row).id for row in rows]
        finally:
            recorder.close()
        said = ", ".join(f"{row.kind} {number}" for row, number in zip(rows, numbers, strict=True))
        click.echo(f"Stored, by number: {said}.")
        if {row.kind for row in rows} & set(inuse.KINDS):
            click.echo("The daemon (flowlog run) watches with it from its next start.")

    # --- looking back -------------------------------------------------------------------------

    def history(self, kind: str | None, numbers: Sequence[int]) -> None:
        """The list, or two of them compared."""
        stored, used = self._stored()
        if not numbers:
            rows = [
                (one, _result(one), one.id in used)
                for one in stored
                if kind is None or one.row.kind == kind
            ]
            echo(history_view(rows, self._rig, self._units))
            return
        first, second = (_numbered(stored, number) for number in numbers)
        if first.row.kind != second.row.kind:
            raise NotFoundError(
                f"number {first.id} is a {first.row.kind} and number {second.id} a "
                f"{second.row.kind}: two of one kind can be compared"
            )
        pair = [(one, inuse.result_of(one.row)) for one in (first, second)]
        echo(comparison_view(pair[0], pair[1], self._units))

    def show(self, number: int | None, svg: Path | None) -> None:
        """One calibration whole, or those in use."""
        stored, _ = self._stored()
        if number is not None:
            chosen = [_numbered(stored, number)]
        else:
            in_use = inuse.choose(self._rig, stored)
            newest = {one.row.kind: one for one in (*stored, *in_use.used)}
            chosen = [newest[kind] for kind in STEPS if kind in newest]
            for reason in in_use.passed_over:
                click.echo(f"NOTE: {reason}")
        if not chosen:
            click.echo(f"{self._rig.name}: nothing was calibrated yet.")
        for one in chosen:
            result = inuse.result_of(one.row)
            click.echo(f"Number {one.id}. {TITLES[one.row.kind]}")
            click.echo(f"  made {day(one.row.made_wall_us)} by {one.row.made_by}{_extra(one)}")
            echo(result_view(result, self._units, whole=number is not None))
            click.echo("")
            if svg is not None:
                self.write_svg(result, svg)

    def write_svg(self, result: Any, path: Path) -> None:
        """The picture of a catch."""
        if not isinstance(result, CatchResult):
            return
        text = catch_svg(result, self._units, self._rig.name)

        def write(out: TextIO) -> None:
            out.write(text)

        write_whole(path, write)
        click.echo(f"wrote {path}", err=True)

    def _stored(self) -> tuple[list[StoredCalibration], set[int]]:
        try:
            with Archive.open(self._folder) as archive:
                stored = archive.calibrations(slug=self._rig.slug)
        except StoreMissingError:
            stored = []
        return stored, set(inuse.choose(self._rig, stored).ids)


def _units(text: str) -> Units:
    return "us" if text == "us" else "metric"


def _result(one: StoredCalibration) -> Result | None:
    try:
        return inuse.result_of(one.row)
    except CalibrationError:
        return None


def _numbered(stored: Sequence[StoredCalibration], number: int) -> StoredCalibration:
    for one in stored:
        if one.id == number:
            return one
    raise NotFoundError(f"there is no calibration number {number} (flowlog calibrate history)")


def _extra(one: StoredCalibration) -> str:
    evidence = one.row.evidence.get(NOTED, {})
    said = []
    if evidence.get("water_c") is not None:
        said.append(f"water {evidence['water_c']:.0f} C")
    if evidence.get("source") not in (None, "typed"):
        said.append(f"from {evidence['source']}")
    if evidence.get("note"):
        said.append(str(evidence["note"]))
    return "".join(f"; {part}" for part in said)
