"""A check of a board over a live port: listens, talks, keeps everything with its time."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from flowlog.link.errors import LinkError
from flowlog.link.recorder import Said
from flowlog.link.source import Source
from flowlog.wire.conformance.exercise import Step, steps
from flowlog.wire.conformance.heard import Piece, Sent, Stall
from flowlog.wire.conformance.judge import Report, judge
from flowlog.wire.decode import Decoder
from flowlog.wire.records import Hello

_READ_S: Final = 0.05
_TELL_S: Final = 1.0
_RESTART_S: Final = 60.0
"""How long the person may take to restart the board."""
_STALL_S: Final = 0.25
"""A read that takes so much longer than asked was held up by this computer."""
_AFTER_START_S: Final = 2.0


@dataclass(slots=True)
class _Seen:
    """As much of the stream as the progress and the wait for a start need."""

    boot: int = -1
    seq: int = -1
    restarted: bool = False


class BoardCheck:
    """One check from beginning to end; `run` yields what to show, `report` judges.

    Args:
        source: Where the board is.
        listen_s: How long to listen before anything is said to it.
        restart: Whether to wait for the person to restart the board.
        monotonic: The host's clock, seconds.
    """

    def __init__(
        self,
        source: Source,
        listen_s: float,
        *,
        restart: bool = False,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._source = source
        self._listen_s = listen_s
        self._restart = restart
        self._now = monotonic
        self._pieces: list[Piece] = []
        self._sent: list[Sent] = []
        self._decoder = Decoder()
        self._seen = _Seen()
        self._next_tell = 0.0
        self._may_go = False  # the port may go away: a board on USB takes it along
        self._inside_line = False
        self._read_s: float | None = None  # when the last read ended
        self._stalls: list[Stall] = []

    def run(self, stopped: Callable[[], bool]) -> Iterator[Said]:
        """Listen and talk until the plan is through, or `stopped`.

        Raises:
            LinkError: the port cannot be opened, went away, or nothing at all came.
        """
        self._source.open()
        plan, total_s = steps(self._listen_s)
        began = self._now()
        self._next_tell = began + _TELL_S
        yield Said(f"listening for {self._listen_s:.0f} s")
        while not stopped():
            now = self._now() - began
            if self._restart and now >= self._listen_s:
                self._restart = False
                yield from self._wait_for_start(stopped)
                began += self._now() - began - now  # the plan goes on where it was
                continue
            if now >= total_s:
                break
            if plan and plan[0].at_s <= now:
                yield from self._say(plan.pop(0))
                continue
            due = plan[0].at_s if plan else total_s
            self._read(min(_READ_S, max(0.0, due - now)))
            yield from self._progress(f"{now:.0f} of {total_s:.0f} s")
        self._pieces.append((self._now(), b""))
        if not any(data for _, data in self._pieces):
            raise LinkError(
                f"{self._source.name}: not one byte came in {self._now() - began:.0f} s; is it the "
                "right port, has the board its supply, is its TX wired to RX?"
            )

    def report(self) -> Report:
        """The findings about what was heard so far."""
        return judge(self._pieces, self._sent, self._stalls)

    def _say(self, step: Step) -> Iterator[Said]:
        if step.told:
            yield Said(step.told)
        at = self._now()
        if self._source.write(step.data) and step.kind is not None:
            self._sent.append(Sent(at, step.kind))

    def _wait_for_start(self, stopped: Callable[[], bool]) -> Iterator[Said]:
        yield Said("restart the board now: its reset button, or its supply off and on")
        self._seen.restarted = False
        self._may_go = True
        until = self._now() + _RESTART_S
        while not self._seen.restarted and not stopped():
            if self._now() >= until:
                yield Said(f"no start within {_RESTART_S:.0f} s; going on without")
                break
            self._read(_READ_S)
            yield from self._progress(f"{until - self._now():.0f} s left")
        else:
            yield Said("started again")
        until = self._now() + _AFTER_START_S
        while self._now() < until and not stopped():
            self._read(_READ_S)
        self._may_go = False

    def _read(self, timeout_s: float) -> None:
        data = self._source.read(timeout_s)
        at = self._now()
        if self._read_s is not None and at - self._read_s > timeout_s + _STALL_S:
            self._stalls.append((self._read_s, at))
        self._read_s = at
        for event in self._source.take_events():
            if event.change == "lost" and not self._may_go:
                raise LinkError(event.text)
            if event.change == "lost" and self._inside_line:
                self._pieces.append((at, b"\n"))  # what comes after it is another line
                self._inside_line = False
        if data:
            self._pieces.append((at, data))
            self._inside_line = not data.endswith(b"\n")
            self._look(data)

    def _look(self, data: bytes) -> None:
        seen = self._seen
        for item in self._decoder.feed(data).items:
            if isinstance(item, Hello):
                boot, seq = item.boot, item.seq
            else:
                boot, seq = (int(x) for x in item.table[-1, :2])
            seen.restarted |= seen.seq >= 0 and (boot != seen.boot or seq < seen.seq)
            seen.boot, seen.seq = boot, seq

    def _progress(self, where: str) -> Iterator[Said]:
        if self._now() < self._next_tell:
            return
        self._next_tell += _TELL_S
        count = self._decoder.counts
        yield Said(
            f"{where}: {count.samples} samples, {count.hellos} hellos, {count.faults} bad lines",
            passing=True,
        )
