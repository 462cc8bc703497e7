"""`flowlog simulate`: a simulated rig and board, on a pseudo-terminal, into a file, to stdout."""

from __future__ import annotations

import json
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

if TYPE_CHECKING:
    from flowlog.link.terminal import Terminal
    from flowlog.simulator.live import LiveBoard
    from flowlog.simulator.plan import Scenario

TICK_S: Final = 0.02
"""How often the simulated board is asked for bytes that have fallen due."""
BLOCK_S: Final = 10.0
"""Scenario time in one piece when it goes as fast as possible."""


@click.command(name="simulate")
@click.argument("scenario", required=False)
@click.option(
    "--to",
    default="pty",
    show_default=True,
    metavar="pty|-|FILE.flog",
    help="A port for flowlog run to open, standard output, or a recording.",
)
@click.option(
    "--pace",
    default=None,
    metavar="real|N|max",
    help="Real time, N times as fast, or as fast as it goes. Real for a port, else max.",
)
@click.option("--link", type=click.Path(path_type=Path), help="A stable name for the port.")
@click.option(
    "--truth",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write what truly happened (JSON) here instead of to standard error.",
)
@click.option("--seed", type=click.IntRange(0), help="Another seed than the scenario's.")
@click.option("--wait", is_flag=True, help="Begin when somebody opens the port.")
@click.option("--hold", is_flag=True, help="Keep the port open after the scenario's end.")
@click.option("--reset-on-open", is_flag=True, help="Reset the board whenever the port is opened.")
@click.option("--list", "list_them", is_flag=True, help="List the scenarios that come along.")
def command(
    scenario: str | None,
    to: str,
    pace: str | None,
    link: Path | None,
    truth: Path | None,
    seed: int | None,
    *,
    wait: bool,
    hold: bool,
    reset_on_open: bool,
    list_them: bool,
) -> None:
    """Simulate SCENARIO, a file or the name of one that comes along.

    Without any hardware, this is a board to develop, test and try things with.
    """
    from dataclasses import replace

    from flowlog.simulator.live import LiveBoard
    from flowlog.simulator.scenario import find_scenario, read_scenario, shipped

    if list_them:
        for name in shipped():
            click.echo(name)
        return
    if scenario is None:
        raise click.UsageError(f"which scenario? A file, or one of: {', '.join(shipped())}")
    if to != "pty" and (link or wait or hold or reset_on_open):
        raise click.UsageError("--link, --wait, --hold and --reset-on-open go with --to pty only")
    speed = _speed(pace, to)
    plan = read_scenario(find_scenario(scenario))
    if seed is not None:
        plan = replace(plan, seed=seed)
    board = LiveBoard(plan)
    with _until_stopped() as stopped:
        if to == "pty":
            _to_port(board, speed, link, stopped, wait=wait, hold=hold, resets=reset_on_open)
        elif to == "-":
            _to_stdout(board, speed, stopped)
        else:
            _to_file(board, plan, Path(to), speed, stopped)
    _tell_truth(board, truth)


def _speed(pace: str | None, to: str) -> float | None:
    """Scenario seconds in a second; None for as fast as it goes."""
    text = pace or ("real" if to == "pty" else "max")
    if text == "max":
        return None
    if text == "real":
        return 1.0
    try:
        speed = float(text.removesuffix("x"))
    except ValueError:
        speed = 0.0
    if not 0.01 <= speed <= 10_000:
        raise click.BadParameter(f"'{text}' is not real, max, or a number from 0.01 to 10000")
    return speed


@contextmanager
def _until_stopped() -> Iterator[Callable[[], bool]]:
    """Turns an interrupt or a request to end into a question that can be asked."""
    asked: list[int] = []
    before = {
        number: signal.signal(number, lambda got, _: asked.append(got))
        for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield lambda: bool(asked)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _play(
    board: LiveBoard,
    speed: float | None,
    stopped: Callable[[], bool],
    write: Callable[[bytes], object],
    tend: Callable[[], None] = lambda: None,
) -> None:
    """Hand out bytes as scenario time goes on; `tend` is called in between."""
    began, first_s = time.monotonic(), board.now_s
    while not board.done and not stopped():
        if speed is None:
            now_s = board.now_s + BLOCK_S
        else:
            now_s = first_s + (time.monotonic() - began) * speed
        tend()
        data = board.due(now_s)
        if data:
            write(data)
        if speed is not None:
            time.sleep(TICK_S)


def _to_port(
    board: LiveBoard,
    speed: float | None,
    link: Path | None,
    stopped: Callable[[], bool],
    *,
    wait: bool,
    hold: bool,
    resets: bool,
) -> None:
    from flowlog.link.terminal import Terminal
    from flowlog.simulator.opened import OpenWatch

    with Terminal(link) as port:
        watch = OpenWatch(port.path)
        click.echo(port.path)
        try:
            while wait and not watch.opened() and not stopped():
                time.sleep(TICK_S)

            def tend() -> None:
                if watch.opened() and resets:
                    click.echo(f"{board.now_s:9.1f} s  reset: the port was opened", err=True)
                    board.reset()
                _listen(board, port)

            def push(data: bytes) -> None:
                _push(port, data, stopped)

            _play(board, speed, stopped, port.write if speed is not None else push, tend)
            while hold and not stopped():
                tend()
                answer = board.due(board.now_s)
                if answer:
                    port.write(answer)
                time.sleep(TICK_S)
            if not stopped():
                time.sleep(5 * TICK_S)  # closing the port throws away what was not read yet
        finally:
            watch.close()


def _listen(board: LiveBoard, port: Terminal) -> None:
    from flowlog.simulator.live import PATTERNS
    from flowlog.wire.records import Alarm

    for heard in board.hear(port.read()):
        if isinstance(heard, Alarm):
            told = f"lamp {PATTERNS[heard.lamp]}, buzzer {PATTERNS[heard.buzzer]}"
        else:
            told = "asked for a hello"
        click.echo(f"{board.now_s:9.1f} s  {told}", err=True)


def _push(port: Terminal, data: bytes, stopped: Callable[[], bool]) -> None:
    """Write all of it, waiting for the host where a real board would not."""
    for line in data.splitlines(keepends=True):
        while port.write(line) and not stopped():
            time.sleep(0.001)


def _to_stdout(board: LiveBoard, speed: float | None, stopped: Callable[[], bool]) -> None:
    out = sys.stdout.buffer

    def write(data: bytes) -> None:
        out.write(data)
        out.flush()

    try:
        _play(board, speed, stopped, write)
    except BrokenPipeError:
        # The reader has had enough; keep the interpreter from complaining at its exit.
        import os

        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _to_file(
    board: LiveBoard,
    plan: Scenario,
    path: Path,
    speed: float | None,
    stopped: Callable[[], bool],
) -> None:
    from datetime import UTC, datetime

    from flowlog.link.recording import RecordingWriter

    header = {
        "started": datetime.now(UTC).isoformat(timespec="seconds"),
        "rig": plan.rig.name,
        "board": plan.board.name,
        "firmware": plan.board.firmware,
        "notes": f"simulated: scenario {plan.name}, seed {plan.seed}",
    }
    with RecordingWriter(path, header) as recording:
        _play(board, speed, stopped, recording.write)


def _tell_truth(board: LiveBoard, truth: Path | None) -> None:
    from flowlog.errors import FlowlogError
    from flowlog.simulator.summary import summary

    found: dict[str, Any] = summary(board.run, None if board.done else board.now_s)
    text = json.dumps(found, indent=2)
    if truth is None:
        click.echo(text, err=True)
        return
    try:
        truth.write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise FlowlogError(f"{truth}: cannot be written: {error.strerror}") from None
