"""What the steps of a guided session share: rig, units, board, and what was found before."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from flowlog.calibrating.answers import Choice
from flowlog.calibrating.feed import Feed, LaterFeed
from flowlog.calibrating.interview import Interview
from flowlog.calibrating.inuse import InUse, result_of
from flowlog.calibration.apply import Result, apply
from flowlog.calibration.course import CourseResult
from flowlog.errors import FlowlogError
from flowlog.rig.model import Rig
from flowlog.units import Units

WATER = "CAUTION: clean water only, no product. Gloves and eye protection on."
OPEN_LINE = "CAUTION: engine off, pressure off, gloves on before a line or tip is opened."
PARKED = "CAUTION: engine running, so brake set, wheels blocked, nobody in front."


@dataclass(slots=True)
class Work:
    """See the module."""

    interview: Interview
    rig: Rig
    """As its file says."""
    in_use: InUse
    units: Units
    open_feed: Callable[[], Feed]
    """Opens the board; raises a FlowlogError with the reason when it cannot."""
    water_c: float | None = None
    results: dict[str, Result] = field(default_factory=dict)
    """Found and kept in this session."""
    sources: dict[str, str] = field(default_factory=dict)
    """Where the numbers of a step came from."""
    _feed: LaterFeed | None = None

    def current(self) -> Rig:
        """The rig with what is in use, and what was found in this session on top."""
        return apply(self.in_use.rig, self.results.values())

    def course(self) -> CourseResult | None:
        """This session's course, or the one that is in use."""
        found = self.results.get("course")
        if isinstance(found, CourseResult):
            return found
        for one in self.in_use.used:
            if one.row.kind == "course":
                stored = result_of(one.row)
                return stored if isinstance(stored, CourseResult) else None
        return None

    def feed(self, step: str) -> Feed | None:
        """The board, or None when the person wants to type the numbers."""
        ask = self.interview
        default = "live"
        # Going on with a step that was read live: the board is opened when it is needed again.
        later = f"{ask.step}.source" in ask.draft
        while True:
            how = ask.ask(
                "source",
                "Read the board live, or type numbers? (live, type)",
                Choice(("live", "type")),
                default=default,
                hint="'live' counts pulses and reads the gauge by itself; 'type' if you have "
                "them from elsewhere.",
            )
            if how == "type":
                self.sources[step] = "typed"
                return None
            try:
                if self._feed is None:
                    self._feed = LaterFeed(self.open_feed, self.rig.board.port)
                if not later:
                    self._feed.open()
            except FlowlogError as fault:
                ask.talk.say(f"  {fault}.")
                ask.forget("source")
                default, later = "type", False
                continue
            self.sources[step] = self._feed.name
            return self._feed

    def ask_recording(self, of: str, check: Callable[[Path], object]) -> tuple[str, Path]:
        """Ask for a recording: its name and its path.

        Args:
            of: What it is a recording of, in words.
            check: Raises a FlowlogError with the reason where a file is none.
        """

        def read(text: str) -> tuple[Path, str]:
            path = Path(text.strip()).expanduser()
            check(path)
            return path, str(path)

        path = self.interview.ask(
            "recording",
            f"Recording of {of} (a .flog file)",
            read,
            hint="'flowlog record' writes one. Flow and pressure belong together tick by tick, so "
            "they cannot be typed here.",
        )
        return str(path), path

    def close(self) -> None:
        if self._feed is not None:
            self._feed.close()
            self._feed = None
