"""A fault of the boom that is still coming: measured more often, and told as what it is so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from flowlog.monitor.alerts import Size
from flowlog.monitor.creep import LONGEST_S, Creep
from flowlog.monitor.rules.boom_fault import OpenFault, Turn
from flowlog.monitor.rules.boom_words import describe, in_words
from flowlog.rig.model import Rig

_LEAST: Final = 0.05
"""Where less is likely, the 95 % of where a shift ends know nothing of it."""
_EVERY: Final = 6
"""Ticks: three seconds, as after an opening."""
_LONGEST: Final = round(2.0 * 2.0 * LONGEST_S)
"""Ticks: twice as long as anything that is traced takes."""


def comes(creep: Creep | None) -> bool:
    """May a shift not have ended?"""
    return creep is not None and creep.coming >= _LEAST


class ComingFault(OpenFault):
    """An open fault that may still be coming."""

    coming = False
    """What was told last may not have been all of it."""

    @property
    def room(self) -> int:
        """As of any fault; never beyond the tick in which it is measured again."""
        room = super().room
        return min(room, _EVERY - self.age % _EVERY) if self.coming else room

    def due(self) -> Turn | None:
        """As of any fault; but while it comes, doubts are no reason not to measure it again."""
        turn = super().due()
        if turn is None and self.coming and self.age % _EVERY == 0 and self.age <= _LONGEST:
            return "refined"
        return turn

    def join(self) -> None:
        """It grew by the rest of what was coming: it is one fault, from its first onset on."""
        if self.coming and abs(self.level) > abs(self.was):
            self.onsets, self.grown = self.onsets[:1], False


def describe_coming(
    rig: Rig, code: str, creep: Creep, sd: float, classes: Mapping[str, float]
) -> tuple[Size, str]:
    """What there is so far, in an interval that reaches to where it may end, and the sentence.

    Args:
        rig, code, classes: As for `describe`.
        creep: What is known of it.
        sd: Standard uncertainty of what there is so far.
    """
    size, text = describe(rig, code, creep.so_far, sd, classes)
    far = describe(rig, code, creep.far, 0.0, {})[0].value
    if size.unit == "tips":
        far = min(far, float(rig.boom.tips))
    assert size.low is not None
    assert size.high is not None
    text = (
        f"So far {text[0].lower()}{text[1:]} Still coming: it may become "
        f"{in_words(rig, code, creep.far)}."
    )
    return replace(size, low=min(size.low, far), high=max(size.high, far)), text
