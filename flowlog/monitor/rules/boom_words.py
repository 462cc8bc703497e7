"""A fault of the boom in words and sizes, for the person on the machine."""

from __future__ import annotations

from collections.abc import Mapping
from math import exp
from typing import Final

from flowlog.monitor.alerts import Size
from flowlog.monitor.close_up import CloseUp
from flowlog.monitor.codes import CODES
from flowlog.monitor.diagnosis import Signs
from flowlog.physics.tips import blocked_tips
from flowlog.rig.model import Rig

_WORTH_NAMING: Final = 0.1
"""A class that is less likely than this is left out of the sentence."""

_OTHERWISE: Final = {
    "tip_blocked": "blocked tips",
    "boom_leak": "a leak or a missing tip",
    "meter_low": "a flow sensor that reads low",
    "meter_double": "a flow sensor that counts twice",
    "foam": "foam",
    "mix_changed": "another mix",
}


def describe(
    rig: Rig, code: str, shift: float, sd: float, classes: Mapping[str, float]
) -> tuple[Size, str]:
    """Size with its 95 % interval, and the sentence that says what it is and what it may be.

    Args:
        rig: Its tips and where its gauge sits.
        code: What it is called.
        shift: Of the log conductance against the baseline.
        sd: Standard uncertainty of the shift.
        classes: Probability of each class.
    """
    spread = 1.96 * sd
    percent = 100.0 * (exp(shift) - 1.0)
    low, high = (100.0 * (exp(shift + d) - 1.0) for d in (-spread, spread))
    size = Size(percent, "%", low, high)
    share = f"{abs(percent):.0f} % {'less' if percent < 0.0 else 'more'}"
    passes = f"the boom passes {share} than its healthy baseline at the same pressure"
    if code == "tip_blocked":
        tips = rig.boom.tips
        value, low, high = (blocked_tips(tips, shift + d) for d in (0.0, spread, -spread))
        low, high = max(0.0, low), min(float(tips), high)
        size = Size(value, "tips", low, high)
        text = (
            f"{in_words(rig, code, shift)} of {tips} blocked ({low:.1f} to {high:.1f}): {passes}."
        )
        if rig.gauge.place == "before strainer":
            text += " The strainer behind the gauge does the same."
    elif code == "meter_low":
        text = (
            f"The flow sensor reads {abs(percent):.0f} % ({abs(high):.0f} to {abs(low):.0f}) low: "
            "the pressure did not answer as it does to a blocked tip."
        )
    elif code == "meter_double":
        text = "The flow sensor's pulses doubled and the pressure did not move."
    elif code == "foam":
        text = f"{passes[0].upper()}{passes[1:]}, and its flow is rough: gas in the mix."
    else:
        text = f"{passes[0].upper()}{passes[1:]} ({low:.0f} to {high:.0f} %)."
    return size, text + _or_else(code, classes)


def describe_mix(rig: Rig, shift: float, sd: float) -> tuple[Size, str]:
    """How much denser a mix is that moved the boom's conductance by `shift`."""
    denser = 100.0 * (exp(-2.0 * shift) - 1.0)
    low, high = (100.0 * (exp(-2.0 * (shift + d)) - 1.0) for d in (1.96 * sd, -1.96 * sd))
    text = (
        f"Since the pause the boom passes {abs(100.0 * (exp(shift) - 1.0)):.0f} % "
        f"{'less' if shift < 0.0 else 'more'}: a mix about {abs(denser):.0f} % "
        f"{'denser' if denser > 0.0 else 'lighter'}. Taken as healthy from here."
    )
    if shift < 0.0:
        tips = blocked_tips(rig.boom.tips, shift)
        text += f" {tips:.1f} of a tip that clogged in the pause would look the same."
    return Size(denser, "%", low, high), text


def _or_else(code: str, classes: Mapping[str, float]) -> str:
    others = [
        f"{_OTHERWISE[other]} ({100.0 * share:.0f} %)"
        for other, share in classes.items()
        if other != code and share >= _WORTH_NAMING
    ]
    return f" It may also be {' or '.join(others)}." if others else ""


def in_words(rig: Rig, code: str, shift: float) -> str:
    """`1.0 tip`, `-12 %`."""
    if code == "tip_blocked":
        tips = blocked_tips(rig.boom.tips, shift)
        return f"{tips:.1f} {'tip' if tips < 1.05 else 'tips'}"
    return f"{100.0 * (exp(shift) - 1.0):+.0f} %"


def checks_for(code: str, classes: Mapping[str, float]) -> tuple[str, ...]:
    """What to look at: for what it is called, then the first thing for what it may also be."""
    checks = list(CODES[code].checks)
    for other, share in classes.items():
        if other != code and share >= _WORTH_NAMING and CODES[other].checks:
            first = CODES[other].checks[0]
            if first not in checks:
                checks.append(first)
    return tuple(checks)


def details_of(
    code: str,
    shift: float,
    evidence: float,
    classes: Mapping[str, float],
    signs: Signs | None = None,
) -> dict[str, float]:
    """What a screen or an explanation needs beside the sentence."""
    details = {
        "evidence_nats": round(evidence, 1),
        "shift_log": round(shift, 4),
        "probability": round(classes.get(code, 0.0), 3),
    }
    if signs is not None and signs.answer is not None:
        details["pressure_moved_log"] = round(signs.answer.moved, 4)
        details["pressure_moved_sd"] = round(signs.answer.sd, 4)
    if signs is not None and signs.roughness is not None:
        if signs.roughness.ratio is not None:
            details["rough"] = round(signs.roughness.ratio, 2)
        if signs.roughness.gulps is not None:
            details["gulps_nats"] = round(signs.roughness.gulps, 1)
    details.update({f"may_be.{code}": round(share, 3) for code, share in classes.items()})
    return details


def onset_details(close: CloseUp, since_ago_s: float) -> dict[str, float]:
    """The 95 % interval of an onset, as seconds before and after the event's `since`.

    Args:
        close: What the samples say.
        since_ago_s: How long before its last sample `since` lies.
    """
    return {
        "since_earlier_s": round(max(0.0, close.earliest_s - since_ago_s), 2),
        "since_later_s": round(max(0.0, since_ago_s - close.latest_s), 2),
        "came_over_s": round(close.over_s, 1),
    }
