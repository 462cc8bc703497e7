"""Runs the demonstration: start, watch, and then hold what was said against the truth."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from rich.text import Text

from flowlog.daemon.codes import CODES as DAEMON_CODES
from flowlog.daemon.inbox import Mark, leave, new_uid
from flowlog.demo.children import Child, ChildError, Children
from flowlog.demo.setting import SCENARIO, DemoError, Setting
from flowlog.monitor.codes import CODES
from flowlog.monitor.outputs import Event
from flowlog.review import words
from flowlog.review.live import LiveReader
from flowlog.review.live_state import LiveState
from flowlog.review.load import load_route
from flowlog.review.print import echo
from flowlog.review.route import RouteReview
from flowlog.review.terminal import as_lines, full_console, on_screen
from flowlog.review.text import route_view
from flowlog.simulator.scenario import find_scenario, read_scenario
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreError

QUICK: Final = 30.0
"""Times as fast as real: the scenario's quarter of an hour in half a minute."""
_IDLE_S: Final = 2.0
"""The daemon ends by itself when the simulated board has been silent for so long."""
_START_S: Final = 20.0
_CAUGHT: Final = "tip_blocked"
_LINE_EVERY_S: Final = 3.0


class NotCaughtError(DemoError):
    """The clogged tip was not reported: the demonstration failed."""


def play(setting: Setting, speed: float, say: Callable[[str], None], *, lines: bool) -> None:
    """Run the scenario through the daemon, show it, then review it.

    Args:
        setting: the folder, with its rig file written.
        speed: scenario seconds in a second.
        say: prints one line.
        lines: plain lines instead of the live screen.

    Raises:
        ChildError: a process failed.
        NotCaughtError: the tip that the scenario clogs was not reported.
    """
    with Children() as children:
        board, daemon = _start(children, setting, speed)
        reader = _reader(children, setting)
        try:
            left = _show(children, setting, reader, daemon, lines=lines)
        finally:
            reader.close()
        if not left:
            children.wait(daemon, _START_S)
            children.wait(board, _START_S)
    if not setting.truth.exists():
        raise ChildError(f"simulate left no {setting.truth.name}")
    if left:
        say("You left before the end: the review shows what there is so far.")
    with Archive.open(setting.data) as archive:
        review = load_route(archive, "last")
    say("")
    echo(route_view(review))
    say("")
    for line in verdict(review, json.loads(setting.truth.read_text(encoding="utf-8"))):
        echo(Text(line))


def _start(children: Children, setting: Setting, speed: float) -> tuple[Child, Child]:
    simulate: list[str | Path] = ["simulate", SCENARIO, "--to", "pty", "--link", setting.port]
    simulate += ["--pace", f"{speed:g}", "--wait", "--truth", setting.truth]
    board = children.start("simulate", simulate, setting.log("simulate"))
    _until(children, setting.port.exists, "the simulated board's port did not appear")
    run: list[str | Path] = ["run", setting.rig_file, "--until-idle", f"{_IDLE_S:g}"]
    return board, children.start("run", run, setting.log("run"))


def _reader(children: Children, setting: Setting) -> LiveReader:
    """Wait until the daemon has stored its first readings."""
    found: list[LiveReader] = []

    def ready() -> bool:
        try:
            reader = LiveReader(setting.data, {**CODES, **DAEMON_CODES})
        except StoreError:
            return False
        try:
            seen = reader.look(time.time_ns() // 1000, time.monotonic()).age_s is not None
        except StoreError:
            seen = False
        if seen:
            found.append(reader)
        else:
            reader.close()
        return seen

    _until(children, ready, "the daemon stored nothing")
    return found[0]


def _until(children: Children, happened: Callable[[], bool], else_: str) -> None:
    end_s = time.monotonic() + _START_S
    while not happened():
        children.check()
        if time.monotonic() > end_s:
            raise ChildError(f"{else_} within {_START_S:.0f} s")
        time.sleep(0.05)


def _show(
    children: Children, setting: Setting, reader: LiveReader, daemon: Child, *, lines: bool
) -> bool:
    """Show the live view until the daemon ends. Returns whether the user left before."""
    operator = _Operator(setting.data)

    def look() -> LiveState:
        state = reader.look_or_last(time.time_ns() // 1000, time.monotonic())
        if state.reading is not None:
            operator.at(state.reading.at.t_us / 1e6)
        return state

    def done() -> bool:
        children.check()
        return daemon.ended()

    if not lines and sys.stdout.isatty():
        return on_screen(look, full_console(), done)

    def write(line: str) -> None:
        sys.stdout.write(line + "\n")
        sys.stdout.flush()

    as_lines(look, write, done, every_s=_LINE_EVERY_S)
    return not done()


class _Operator:
    """Names each stop while it is sprayed, as a person would with `flowlog stop --rename`."""

    def __init__(self, data: Path) -> None:
        self._data = data
        self._waiting = list(read_scenario(find_scenario(SCENARIO)).stops())

    def at(self, scenario_s: float) -> None:
        """It is now `scenario_s` on the board's clock."""
        while self._waiting and scenario_s > self._waiting[0][1] + 5.0:
            name, _, end_s = self._waiting.pop(0)
            if scenario_s < end_s:
                wall_us = time.time_ns() // 1000
                leave(self._data, Mark("stop", wall_us, new_uid(), kind="name", name=name))


def verdict(review: RouteReview, truth: dict[str, Any]) -> list[str]:
    """What was said, held against what truly happened in the simulation.

    Args:
        review: the route as the daemon recorded it.
        truth: what `flowlog simulate --truth` wrote.

    Raises:
        NotCaughtError: a clogged tip was not reported while it was clogged.
    """
    faults = [fault for fault in truth["faults"] if fault["kind"] == "tip blocked"]
    if not faults:
        raise NotCaughtError("it ended before the tip clogged")
    fault = faults[0]
    alert = next((alert for alert in review.summary.alerts if alert.code == _CAUGHT), None)
    if alert is None:
        raise NotCaughtError(
            f"tip {fault['tip']} was clogged {words.duration(fault['at_s'])} after the beginning, "
            "and the daemon did not report it"
        )
    late_s = alert.opened.t_us / 1e6 - fault["at_s"]
    if alert.opened.segment == 0 and late_s < 0:
        raise NotCaughtError(
            f"a blocked tip was reported {-late_s:.0f} s before tip {fault['tip']} was clogged"
        )
    said = next(row.event for row in review.events if row.event.alert == alert.alert)
    volume, true_volume = review.summary.figures.volume_m3, truth["volume_m3"]
    units = review.rig.units
    return [
        f"Caught: in the simulation tip {fault['tip']} clogged "
        f"{words.duration(fault['at_s'])} after the beginning. The daemon said so "
        f"{late_s:.0f} s later: {_size(said)}, begun about "
        f"{words.duration(alert.since.t_us / 1e6)} after the beginning.",
        f"Volume: {words.value(volume, 'volume', units)} measured, "
        f"{words.value(true_volume, 'volume', units)} truly sprayed.",
    ]


def _size(event: Event) -> str:
    if event.size is None:
        return event.text
    size = f"{event.size:.1f} {event.size_unit} blocked"
    if event.size_low is None or event.size_high is None:
        return size
    return f"{size} ({event.size_low:.1f} to {event.size_high:.1f})"
