"""Faults of the data itself: gaps, lost lines, resets, strange boards."""

from __future__ import annotations

import numpy as np

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.motion import GAP_S
from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.latch import Latch
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.stretch import Stretch, first
from flowlog.rig.model import Rig
from flowlog.units import show
from flowlog.wire.records import PROTOCOL, Hello

_LOST_SHARE = 0.2
_LOST_WINDOW_S = 60.0
_HELLO_WAIT_S = 90.0
"""A board says hello once a minute at least."""


class DataFaults:
    def __init__(self, rig: Rig, book: AlertBook) -> None:
        self._rig = rig
        self._book = book
        self._lost_share = self._next_share = 0.0
        self._losing = Latch(5.0, 30.0)
        self._waited_s = 0.0
        self._hello: Hello | None = None

    def hello(self, at: Position, hello: Hello) -> None:
        self._hello = hello
        if hello.protocol != PROTOCOL:
            text = (
                f"Board {hello.board} speaks version {hello.protocol} of the protocol, "
                f"this program version {PROTOCOL}."
            )
            self._book.open("board_strange", at, at, text)
        else:
            self._book.clear("board_strange", at, "The board speaks the right protocol.")
        self._book.clear("board_unnamed", at, f"This is board {hello.board}.")

    def reset(self, at: Position, boot: int) -> None:
        """The board began to count anew."""
        cause = ""
        if self._hello is not None and self._hello.boot == boot and self._hello.reset != "unknown":
            cause = f" ({self._hello.reset})"
        text = f"The board restarted{cause}; what it counted since is kept."
        self._book.note("board_reset", at, at, text)

    def jump(self, at: Position) -> None:
        text = "The board's counts jumped without a restart; what lies between is not counted."
        self._book.note("counter_jump", at, at, text)

    def step(self, now: Moment) -> None:
        seconds = now.step.seconds
        if self._hello is None:
            self._waited_s += seconds
            if self._waited_s > _HELLO_WAIT_S:
                text = "The board has not said what it is; its pressure cannot be read."
                self._book.open("board_unnamed", now.at, now.at, text)
        if seconds > GAP_S:
            volume = show(now.step.volume_m3, "volume", self._rig.units)
            text = f"No data for {seconds:.0f} s; {volume} went through the meter meanwhile."
            since = Position(now.at.segment, now.at.seq, now.at.t_us - round(seconds * 1e6))
            self._book.note("data_gap", now.at, since, text, Size(seconds, "s"))
            return
        share = now.step.lost / (now.step.lost + now.tick.samples) if now.tick.samples else 0.0
        self._lost_share += (share - self._lost_share) * min(1.0, seconds / _LOST_WINDOW_S)
        bad = self._lost_share > _LOST_SHARE
        if not bad and not self._losing.busy:
            return
        good = self._lost_share < 0.5 * _LOST_SHARE
        turn = self._losing.step(now.at, seconds, bad=bad, good=good)
        if turn == "opened":
            text = f"{100 * self._lost_share:.0f} % of the board's lines are lost or damaged."
            size = Size(100 * self._lost_share, "%")
            self._book.open("lines_lost", now.at, self._losing.since or now.at, text, size)
        elif turn == "cleared":
            self._book.clear("lines_lost", now.at, "The lines arrive again.")

    def look(self, ahead: Stretch) -> int:
        """How many ticks of many pass without a turn; see `flowlog.monitor.rules.stretch`."""
        if self._hello is None or self._losing.busy:
            return 0
        seconds, lost = ahead.steps.seconds, ahead.steps.lost
        self._next_share = average = self._lost_share
        gap = first(seconds > GAP_S)
        if average == 0.0 and not lost.any():
            return gap
        shares = (lost / (lost + ahead.column("samples"))).tolist()
        weights = np.minimum(1.0, seconds / _LOST_WINDOW_S).tolist()
        for i, (share, weight) in enumerate(zip(shares, weights, strict=True)):
            average += (share - average) * weight
            if average > _LOST_SHARE:
                return min(i, gap)
        self._next_share = average
        return gap

    def go_on(self) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        self._lost_share = self._next_share
