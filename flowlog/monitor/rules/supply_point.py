"""What happens on the pump's side: it weakens, it is turned, it draws air.

The boom's conductance does not see these; the pressure does, against where the supply held it in
the first minutes. Strainer, pump and voltage look alike to two sensors, and the checks say so.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from math import exp, inf, sqrt
from operator import truediv
from typing import Final

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.outputs import Position

_LEARN_TICKS: Final = 600
"""Five minutes: the pressure of a small pump wanders by 1.5 % over ten."""
_ARM_TICKS: Final = 120
_SHARE: Final = 1.0 / 20.0
"""Judged is an average over ten seconds."""
_MOVED_LOG: Final = 0.138
"""Six times the spread of such an average about the first minutes' (1.3 % of turbulence, 2 % of
wander): less than one in 500 hours where nothing is wrong."""
_BACK_LOG: Final = 0.07
_STEP_TICKS: Final = 4
_STEP_SHARE: Final = 0.6
_NEWEST_TICKS: Final = 6
_HISTORY: Final = 120

_WILD_SD: Final = 5.0
"""News of the flow beyond so many of their usual spreads are no turbulence."""
_WILD_TICKS: Final = 10
_WILD: Final = 5
_WILD_EACH: Final = 2
"""Air makes the flow jump both ways, again and again: five of ten ticks, two of them each way. A
burst of air reaches four, a fault of the boom goes one way."""
_SAGGED_LOG: Final = 0.08
"""And the pressure sags by three times its spread over two seconds. Foam and bursts do not."""
_CALM_TICKS: Final = 20


class SupplyWatch:
    """Judges settled ticks by their pressure. Knows nothing of the boom but whether it is busy."""

    def __init__(self, book: AlertBook) -> None:
        self._book = book
        self._level = 0.0
        self._ticks = 0
        self._mean: float | None = None
        self._recent: deque[tuple[Position, float]] = deque(maxlen=_HISTORY)
        self._news: deque[float] = deque(maxlen=_WILD_TICKS)
        """News of the flow over their usual spread."""
        self._wild = 0
        self._calm = 0
        self._weak = False
        """The alert that the supply is weak is open."""
        self.drawing_air = False
        self._usual_before = 0.0
        self._next: tuple[float, int, float | None, list[float]] = (0.0, 0, None, [])

    def step(
        self,
        at: Position,
        said: Position,
        log_pressure: float,
        news: float | None,
        usual: float,
        *,
        boom_busy: bool,
    ) -> bool:
        """Take one settled tick in.

        Args:
            at: The tick.
            said: Now.
            log_pressure: ln(P), P in Pa.
            news: What the flow's residual brings beyond what was foretold.
            usual: Variance of the news in usual passes.
            boom_busy: A fault of the boom is open: its pressure is no measure of the supply.

        Returns:
            Whether the pump has just been found to draw air.
        """
        self._recent.append((at, log_pressure))
        if news is not None:
            if self._wild and len(self._news) == _WILD_TICKS and abs(self._news[0]) > _WILD_SD:
                self._wild -= 1
            if self.drawing_air:
                # Minutes of air would pass for usual, and then for over.
                usual = min(usual, self._usual_before)
            wild = news / sqrt(usual)
            if abs(wild) > _WILD_SD:
                self._wild += 1
            self._news.append(wild)
        if self._ticks < _LEARN_TICKS and not boom_busy and self._wild < _WILD_EACH:
            self._ticks += 1
            self._level += (log_pressure - self._level) / self._ticks
        if self._ticks < _ARM_TICKS:
            return False
        if self.drawing_air:
            self._end_of_air(said, log_pressure)
            return False
        if self._wild >= _WILD and self._is_air():
            self.drawing_air, self._calm = True, 0
            self._usual_before = usual
            return True
        if not boom_busy:
            self._watch_level(said, log_pressure)
        return False

    def look(
        self,
        log_pressures: Sequence[float],
        news: Sequence[float],
        usual: Sequence[float],
        *,
        boom_busy: bool,
    ) -> bool:
        """Do many ticks pass without a turn? The arguments of `step` for each.

        Nothing changes before `go_on`. In doubt the answer is no.
        """
        if self.drawing_air or self._wild:
            return False
        wild = list(map(truediv, news, map(sqrt, usual)))
        if max(wild) > _WILD_SD or min(wild) < -_WILD_SD:
            return False
        level, ticks, mean = self._level, self._ticks, self._mean
        most, least = (inf, _BACK_LOG) if self._weak else (_MOVED_LOG, -1.0)
        if not boom_busy:
            for log_pressure in log_pressures:
                if ticks < _LEARN_TICKS:
                    ticks += 1
                    level += (log_pressure - level) / ticks
                    if ticks < _ARM_TICKS:
                        continue
                off = log_pressure - level
                mean = off if mean is None else mean + _SHARE * (off - mean)
                if not least <= abs(mean) <= most:
                    return False
        self._next = (level, ticks, mean, wild)
        return True

    def go_on(self, at: Sequence[Position], log_pressures: Sequence[float]) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        self._level, self._ticks, self._mean, wild = self._next
        self._news.extend(wild)
        self._recent.extend(zip(at, log_pressures, strict=True))

    @property
    def restless(self) -> bool:
        """Has the flow jumped both ways of late? What seems to be over may be the next gulp."""
        wild = [news for news in self._news if abs(news) > _WILD_SD]
        return bool(wild) and min(wild) < 0.0 < max(wild)

    def wild_since(self) -> Position:
        """Where the wildness began that was found to be air."""
        first = next((i for i, wild in enumerate(self._news) if abs(wild) > _WILD_SD), 0)
        return self._recent[max(-len(self._recent), first - len(self._news))][0]

    def _is_air(self) -> bool:
        up = sum(wild > _WILD_SD for wild in self._news)
        down = sum(wild < -_WILD_SD for wild in self._news)
        newest = [value for _, value in list(self._recent)[-_STEP_TICKS:]]
        sagged = self._level - min(newest)
        return up >= _WILD_EACH and down >= _WILD_EACH and sagged > _SAGGED_LOG

    def _end_of_air(self, said: Position, log_pressure: float) -> None:
        calm = self._wild == 0 and abs(log_pressure - self._level) < 2.0 * _MOVED_LOG
        self._calm = self._calm + 1 if calm else 0
        if self._calm >= _CALM_TICKS:
            self.drawing_air = False
            self._mean = None
            text = "Flow and pressure have been steady again for ten seconds."
            self._book.clear("air_drawn", said, text)

    def _watch_level(self, said: Position, log_pressure: float) -> None:
        off = log_pressure - self._level
        mean = self._mean
        self._mean = mean = off if mean is None else mean + _SHARE * (off - mean)
        if not self._weak:
            if abs(mean) > _MOVED_LOG:
                self._say(said, mean)
        elif abs(mean) < _BACK_LOG:
            text = "The pressure is back where the supply held it at first."
            self._book.clear("supply_weak", said, text)
            self._weak = False

    def _say(self, said: Position, off: float) -> None:
        since, step = self._largest_step(off)
        # The slow average is still on its way; the newest seconds say where the pressure is.
        newest = [value for _, value in self._recent][-_NEWEST_TICKS:]
        off = sum(newest) / len(newest) - self._level
        percent = 100.0 * (exp(off) - 1.0)
        size = Size(percent, "%")
        moved = f"{abs(percent):.0f} % {'lower' if off < 0.0 else 'higher'}"
        if off < 0.0 and not step:
            text = (
                f"Bit by bit the pressure has come {moved} than at first, and the boom passes what "
                "it should: the supply is weak. Strainer, pump and voltage look alike."
            )
            self._book.open("supply_weak", said, since, text, size)
            self._weak = True
            return
        how = "at once" if step else "bit by bit"
        text = (
            f"The pressure came {moved} {how}, and the boom passes what it should at it. "
            "Taken as the pressure that is wanted."
        )
        self._book.note("regulator_moved", said, since, text, size)
        self._level += off
        self._mean = 0.0

    def _largest_step(self, off: float) -> tuple[Position, bool]:
        """Where the pressure moved most within two seconds, and whether that was most of it."""
        ticks = list(self._recent)
        n = _STEP_TICKS
        best, at = 0.0, 0
        for i in range(n, len(ticks) - n + 1):
            before = sum(value for _, value in ticks[i - n : i]) / n
            after = sum(value for _, value in ticks[i : i + n]) / n
            jump = (after - before) if off > 0.0 else (before - after)
            if jump > best:
                best, at = jump, i
        if best > _STEP_SHARE * abs(off):
            return ticks[at][0], True
        # A ramp: it began where the pressure was last on its other side of half of the way.
        for position, value in reversed(ticks):
            if abs(value - self._level) < 0.25 * abs(off):
                return position, False
        return ticks[0][0], False
