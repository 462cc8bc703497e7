"""A fault of the boom that is still coming: measured more often, and told as what it is so far."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import sqrt
from typing import Final

from flowlog.monitor.alerts import Size
from flowlog.monitor.close_up import CloseUp
from flowlog.monitor.creep import LONGEST_S, Creep
from flowlog.monitor.noise import NoiseLevel
from flowlog.monitor.rules.boom_fault import OpenFault, Turn
from flowlog.monitor.rules.boom_words import describe, in_words
from flowlog.rig.model import Rig

_LEAST: Final = 0.05
"""Where less is likely, the 95 % of where a shift ends know nothing of it."""
_FEW_TICKS: Final = 6
"""Three seconds: then the mean of what came since has made up for what it does not know."""
_EVERY: Final = 6
"""Ticks: three seconds, as after an opening."""
_LONGEST: Final = round(2.0 * 2.0 * LONGEST_S)
"""Ticks: twice as long as anything that is traced takes."""


def comes(creep: Creep | None) -> bool:
    """May a shift not have ended?"""
    return creep is not None and creep.coming >= _LEAST


def since_it_came(
    close: CloseUp, residuals: Sequence[float], level: float, sd: float, noise: NoiseLevel
) -> tuple[list[float], float, float]:
    """Residuals since a shift had come whole, its size and that size's uncertainty.

    Args:
        close: What the samples say of it.
        residuals: Of the ticks since its onset.
        level, sd: Their mean and its uncertainty.
        noise: Of the residual.
    """
    residuals = list(residuals)
    creep = close.creep
    if creep is None:
        if len(residuals) <= _FEW_TICKS:
            # One or two ticks hold the step itself, in which the rotor had not followed yet.
            return residuals, close.shift, close.shift_sd * sqrt(noise.roughness)
        return residuals, level, sd
    whole = int(2.0 * (close.ago_s - close.over_s))
    residuals = residuals[-max(1, whole) :]
    if comes(creep):
        # While it is still on its way, the rest of it is not known.
        rest = 0.5 * (creep.middle - creep.so_far)
        return residuals, creep.so_far, sqrt(creep.so_far_sd**2 + rest**2)
    # Samples foretell each other over less than a second; slower noise is in the ticks alone.
    slow = sqrt(noise.mean_variance(len(residuals)))
    return residuals, creep.middle, max(abs(creep.far - creep.near) / (2.0 * 1.96), slow)


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
