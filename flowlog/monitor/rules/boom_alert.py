"""The alert about a fault of the boom: blocked tips, missing tips, leaks, and what looks like them.

One alert follows one fault: it opens when the bank of sequential tests crosses, is refined as
evidence comes, grows or shrinks when the level moves, and clears when the test for the way back
crosses. What it is called follows from `flowlog.monitor.diagnosis`, at the opening and again.

A shift that comes with the first spraying after a pause may be another mix. One that is small
enough for that is noted and taken as the new healthy level, since no two sensors can tell it from
a part of a tip that clogged in the pause; a larger one is a fault.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import replace
from math import sqrt
from typing import Final

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.codes import CODES
from flowlog.monitor.conductance import ARM_S, Baseline
from flowlog.monitor.creep import Creep
from flowlog.monitor.cusum import Alarm, Bank
from flowlog.monitor.diagnosis import Signs, reweigh, weigh
from flowlog.monitor.noise import NoiseLevel
from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.boom_fault import OpenFault, Turn, mean_since
from flowlog.monitor.rules.boom_sizes import least_shift
from flowlog.monitor.rules.boom_words import (
    checks_for,
    describe,
    describe_mix,
    details_of,
    in_words,
    onset_details,
)
from flowlog.monitor.rules.coming import ComingFault, comes, describe_coming, since_it_came
from flowlog.monitor.rules.recent import RecentTicks
from flowlog.rig.model import Rig

_AIR_WITHIN_S: Final = 15.0
"""From the first gulp of air to nothing but air a small tank takes some seconds."""
_RENAMED: Final = 1.5
"""An alert changes its name only for one that is so much likelier: names must not swing."""
_ROUGH: Final = 2.0
_ROUGH_NATS: Final = 3.0
"""A dozen seconds tell the noise of a rough pass to 25 %, and the evidence of 17 nats with it: that
much of it may be the ground's."""
_LIKE_A_GAUGE: Final = frozenset({"tip_blocked", "boom_leak", "meter_low"})
"""What a gauge whose zero has moved may look like."""
_TOLD_TIPS: Final = 0.1
_TOLD_NARROWER: Final = 0.6


class BoomAlert:
    """At most one fault of the boom is open; everything about it goes through here."""

    def __init__(
        self,
        rig: Rig,
        book: AlertBook,
        noise: NoiseLevel,
        bank: Bank,
        baseline: Baseline,
        recent: RecentTicks,
    ) -> None:
        self._rig = rig
        self._book = book
        self._tips = rig.boom.tips
        self._noise = noise
        self._bank = bank
        self._baseline = baseline
        self._recent = recent
        self.fault: OpenFault | None = None
        self._told: Size | None = None
        self._since: Position | None = None
        """Where the newest alert began."""
        self._gauge_made = 0.0
        """Shift that a gauge with another zero was found to make; taken as healthy since."""

    def open(self, at: Position, alarm: Alarm) -> None:
        """A test has crossed its threshold: say what it is, if it is anything.

        Args:
            at: Now.
            alarm: Of the bank; what it rests on are the newest ticks.
        """
        if self._noise.roughness > _ROUGH and alarm.evidence < alarm.threshold + _ROUGH_NATS:
            # How rough such a pass is is known badly; a fault will say more in a moment.
            return
        count = min(len(self._recent), max(1, round(2.0 * alarm.seconds)))
        newest = self._recent.newest(count)
        residuals = [tick.residual for tick in newest]
        level, sd = mean_since(residuals, self._noise)
        if level * alarm.shift <= 0.0:
            # Over so soon: there is nothing left to report.
            self._bank.reset()
            return
        after_pause = self._recent.came_with_the_pause(level, sd, count)
        if after_pause:
            # Then all of the spraying since tells how large it is.
            count = min(len(self._recent), max(count, self._recent.ticks_since_pause))
            newest = self._recent.newest(count)
            residuals = [tick.residual for tick in newest]
            level, sd = mean_since(residuals, self._noise)
        close = None if after_pause else self._recent.close_up(level, count)
        since, onset = newest[0].at, {}
        close = close.traced() if close is not None else None
        creep = close.creep if close is not None else None
        if close is not None:
            since = self._recent.began(close)
            onset = onset_details(close, (self._recent.newest(1)[0].at.t_us - since.t_us) * 1e-6)
            residuals, level, sd = since_it_came(close, residuals, level, sd, self._noise)
        signs = self._recent.signs(level, sd, [count], close, after_pause=after_pause)
        classes = weigh(signs)
        code = next(iter(classes))
        if code == "mix_changed":
            self.take_mix(at, since, level, sd, classes)
            return
        fault = ComingFault(code, level, residuals, self._tips, least_shift(self._rig, level))
        fault.coming = comes(creep)
        fault.onsets = [count]
        fault.classes, fault.smooth = classes, weigh(replace(signs, roughness=None))
        if fault.has_shrunk(level, sd):
            # Smaller than anything that is looked for: the level learns it.
            self._bank.reset()
            return
        size, text = self._describe(code, level, sd, classes, creep)
        details = details_of(code, level, alarm.evidence, classes, signs) | onset
        self.begin(code, at, since, text, size, details, classes)
        self.fault = fault
        self._noise.stepped()
        self._bank.reset()

    def _describe(
        self, code: str, level: float, sd: float, classes: Mapping[str, float], creep: Creep | None
    ) -> tuple[Size, str]:
        """Size with its interval, and the sentence."""
        if creep is not None and comes(creep):
            sd = self._recent.sd_with_baseline(creep.so_far_sd)
            return describe_coming(self._rig, code, creep, sd, classes)
        return describe(self._rig, code, level, self._recent.sd_with_baseline(sd), classes)

    def begin(
        self,
        code: str,
        at: Position,
        since: Position,
        text: str,
        size: Size,
        details: Mapping[str, float],
        classes: Mapping[str, float],
    ) -> None:
        """Open the alert; what it says is worked out already."""
        self._book.open(code, at, since, text, size, details, checks_for(code, classes))
        self._told, self._since = size, since

    def take_mix(
        self,
        at: Position,
        since: Position,
        level: float,
        sd: float,
        classes: Mapping[str, float],
    ) -> None:
        """Note another mix and take what the boom passes now as healthy."""
        size, text = describe_mix(self._rig, level, sd)
        self._book.note(
            "mix_changed", at, since, text, size, details_of("mix_changed", level, 0.0, classes)
        )
        self._baseline.hold(self._baseline.level + level, ARM_S)
        self._noise.stepped()
        self._bank.reset()

    def turn(self, fault: OpenFault, turn: Turn, at: Position, *, restless: bool) -> None:
        """The open fault has changed, or is known better.

        Args:
            restless: The flow has jumped both ways of late: what seems to be gone may come again.
        """
        if turn == "gone":
            if not restless:
                self._clear(fault, at)
            return
        coming = fault if isinstance(fault, ComingFault) else None
        if coming is not None and turn == "grew":
            coming.join()
        level, sd = mean_since(fault.residuals, self._noise)
        if fault.has_shrunk(level, sd):
            self._clear(fault, at)
            return
        was = fault.was if fault.grown else 0.0
        close = self._recent.close_up(level - was, fault.onsets[-1], was)
        creep = None
        if close is not None and not fault.grown:
            close = close.traced()
            creep = close.creep
            residuals, level, sd = since_it_came(close, fault.residuals, level, sd, self._noise)
            fault.residuals = deque(residuals, maxlen=fault.residuals.maxlen)
        kept = len(self._recent)
        onsets = [min(ticks, kept) for ticks in fault.onsets]
        signs = self._recent.signs(level, sd, onsets, close, after_pause=False)
        classes = fault.classes = self._weigh(fault, signs)
        fault.smooth = self._weigh(fault, replace(signs, roughness=None))
        code = next(iter(classes))
        known = classes.get(fault.code, 0.0)
        if classes[code] < _RENAMED * known:
            code = fault.code
        before = in_words(self._rig, fault.code, fault.was)
        if coming is not None:
            coming.coming = comes(creep)
        size, text = self._describe(code, level, sd, classes, creep)
        details = details_of(code, level, fault.suspicion, classes, signs)
        fault.set_level(level)
        renamed = code != fault.code and self._book.rename(fault.code, code)
        if renamed:
            fault.code = code
        elif code != fault.code:
            return
        if turn == "grew":
            self._noise.stepped()
            text += f" It was {before}."
        elif not renamed and not self._worth_telling(size):
            return
        else:
            details["surer"] = 1.0
        self._book.grow(code, at, text, size, details, checks_for(code, classes))
        self._told = size

    @staticmethod
    def _weigh(fault: OpenFault, signs: Signs) -> dict[str, float]:
        """What an open fault may be by now."""
        if fault.grown:
            return reweigh(fault.known, signs, signs.shift - fault.was)
        return weigh(signs)

    def _worth_telling(self, size: Size) -> bool:
        """Has what was told become wrong, or much surer?"""
        told = self._told
        if told is None or told.low is None or told.high is None or size.low is None:
            return True
        assert size.high is not None
        unit = 1.0 if size.unit == "tips" else 100.0 / self._tips
        moved = abs(size.value - told.value) > _TOLD_TIPS * unit
        narrower = size.high - size.low < _TOLD_NARROWER * (told.high - told.low)
        return moved or narrower or size.unit != told.unit

    def _clear(self, fault: OpenFault, at: Position) -> None:
        text = "The boom passes what its healthy baseline says again."
        self._book.clear(fault.code, at, text)
        self.fault = None
        self._noise.stepped()
        self._bank.reset()

    def yield_to_gauge(self, explained: float, sd: float, good: Position | None) -> str | None:
        """Let the open alert be the gauge's, whose zero has moved, if that explains it.

        Args:
            explained: Shift that such a gauge makes of a healthy boom.
            sd: Standard uncertainty of it.
            good: Before this the gauge was right.

        Returns:
            What it was, in words; None if there is no such alert.
        """
        fault, since = self.fault, self._since
        if fault is None or fault.code not in _LIKE_A_GAUGE or since is None:
            return None
        if good is not None and since < good:
            return None
        level = self._agrees(fault, explained, sd)
        if level is None or not self._book.rename(fault.code, "gauge_drift"):
            return None
        was = f"'{CODES[fault.code].title.lower()}' ({in_words(self._rig, fault.code, level)})"
        self._gauge_made = level
        self._take_as_healthy(level)
        return was

    def gauge_is_back(self, at: Position, text: str) -> bool:
        """Clear what there seems to be because a gauge reads right again; was there any?"""
        fault, made = self.fault, self._gauge_made
        if fault is None or made == 0.0 or fault.code not in _LIKE_A_GAUGE:
            return False
        level = self._agrees(fault, -made, 0.0)
        if level is None:
            return False
        self._book.clear(fault.code, at, text)
        self._gauge_made = 0.0
        self._take_as_healthy(level)
        return True

    def _agrees(self, fault: OpenFault, shift: float, sd: float) -> float | None:
        """The level of an open fault, if it lies within the 95 % of a shift."""
        level, own = mean_since(fault.residuals, self._noise)
        spread = sqrt(self._recent.sd_with_baseline(own) ** 2 + sd**2)
        return level if level * shift > 0.0 and abs(level - shift) < 1.96 * spread else None

    def _take_as_healthy(self, level: float) -> None:
        """The open fault is none of the boom's: what it passes now by the gauge is healthy."""
        self._baseline.hold(self._baseline.level + level, ARM_S)
        self.fault = None
        self._noise.stepped()
        self._bank.reset()

    def become_air(self, at: Position, since: Position) -> None:
        """The pump has just been found to draw air, `since` then."""
        text = "Flow and pressure jump and the pressure sags: air in the suction line."
        fault = self.fault
        if fault is not None and fault.age * 0.5 < _AIR_WITHIN_S:
            # What looked like a fault of the boom was the first of the air.
            if self._book.rename(fault.code, "air_drawn"):
                self._book.grow("air_drawn", at, text)
            self.fault = None
        else:
            self._book.open("air_drawn", at, since, text)
        self._bank.reset()
