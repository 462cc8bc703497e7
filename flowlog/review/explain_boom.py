"""An alert about the boom in words: reference, other causes, pressure, noise, threshold."""

from __future__ import annotations

from math import exp
from typing import Final

from flowlog.monitor.codes import CODES
from flowlog.physics.tips import blocked_tips
from flowlog.review import words
from flowlog.review.explain import Explanation
from flowlog.review.explain_replay import percent_of
from flowlog.review.explain_signs import Crossing, Signs
from flowlog.rig.model import Rig

_CLASSES: Final = {
    "tip_blocked": "tips blocked, whole or in part",
    "boom_leak": "a leak, a missing tip, a burst hose",
    "meter_low": "the flow sensor reads low",
    "meter_double": "the flow sensor counts twice",
    "foam": "gas or foam in the mix",
    "mix_changed": "a mix of another density",
}
_GASSY: Final = 3.0
"""Two half minutes of the same normal noise differ by 2.8 in one case of a hundred (simulated)."""


def reference(told: Explanation, signs: Signs) -> list[str]:
    """What the boom was held against, and what it passed since."""
    reference, units = signs.reference, told.review.rig.units
    flow = words.value(reference.flow_m3_s, "flow", units)
    pressure = words.value(reference.pressure_pa, "pressure", units)
    new = (
        f"{words.percent(reference.of_new)} of what {told.review.rig.boom.tips} new tips of the "
        "rig file would pass"
    )
    if told.kind == "start":
        which = (
            "Held against the calibrated healthy boom, from the first half minute of the route on."
        )
    elif reference.calibrated:
        which = "Held against the calibrated healthy boom, refined on this route."
    else:
        spent = words.duration(reference.settled_s)
        which = f"Held against what this boom passed before on this route: {spent} of spraying."
        if reference.settled_s > 1799.0:
            which = "Held against what this boom passed on this route in the half hour before."
    lines = [which, f"So it passes {flow} at {pressure} when it is healthy: {new}."]
    if signs.shift is not None:
        now = words.value(reference.flow_m3_s * exp(signs.shift), "flow", units)
        change = percent_of(signs.shift)
        word = "less" if change < 0.0 else "more"
        lines.append(
            f"Since the onset it was {now} at the same pressure: {abs(change):.1f} % {word}. Pump "
            "and regulator cannot do that: what is expected follows the pressure."
        )
    if told.opened.code == "mix_changed":
        lines.append("From then on that counts as healthy, and in the chart as zero.")
    return lines


def alternatives(told: Explanation) -> list[str]:
    """The causes that were weighed, each with its probability."""
    first, last = told.opened.details, told.last.details
    codes = [name.removeprefix("may_be.") for name in first if name.startswith("may_be.")]
    codes += [
        name.removeprefix("may_be.")
        for name in last
        if name.startswith("may_be.") and name not in first
    ]
    if not codes:
        return ["No other causes were weighed."]
    later = told.last is not told.opened
    lines = []
    for code in codes:
        share = first.get(f"may_be.{code}", 0.0)
        now = last.get(f"may_be.{code}", 0.0)
        if max(share, now) < 0.0005:
            continue
        text = f"{_share(share):>6}"
        if later:
            text += f"  then {_share(now):>6}"
        lines.append(f"{text}  {_CLASSES.get(code, title(code))}")
    if later:
        lines.append("First when it was said, then when it was measured last.")
    return lines


def pressure(told: Explanation, signs: Signs) -> list[str]:
    """What the pressure did, and which cause that speaks for."""
    answer, units = signs.answer, told.review.rig.units
    if answer is None or signs.expected is None or signs.verdict is None:
        return [
            "Too little was seen of it before or after the onset to compare: it did not help to "
            "tell a fault of the boom from one of the flow sensor."
        ]
    before = signs.reference.pressure_pa
    moved = percent_of(answer.moved)
    doubt = 100.0 * 1.96 * answer.sd
    least, largest = (percent_of(value) for value in signs.expected)
    if signs.verdict in ("stayed", "both"):
        did = f"It stayed at {words.value(before, 'pressure', units)}, as far as can be told"
    else:
        after = words.value(before * exp(answer.moved), "pressure", units)
        did = (
            f"It {'rose' if moved > 0.0 else 'fell'} from "
            f"{words.value(before, 'pressure', units)} to {after}"
        )
    boom = "a boom that passes less" if (signs.shift or 0.0) < 0.0 else "a boom that passes more"
    lines = [
        f"{did}: {moved:+.1f} %, give or take {doubt:.1f} %.",
        f"With {boom} by this much it should move by {least:+.1f} to {largest:+.1f} %, by pump "
        "and regulator; if only the flow sensor is wrong it stays.",
    ]
    lines.append(
        {
            "answered": "So the boom itself changed: a flow sensor cannot move the pressure.",
            "stayed": "So it did not answer as it does to a change of the boom: suspect the flow "
            "sensor, or gas in the mix.",
            "both": "Both fit: the pressure wanders too much, or its regulator is too stiff, to "
            "tell a change of the boom from a flow sensor that reads wrong. How likely each is "
            "rests on the size then, and on how often each happens.",
            "neither": "Neither fits: the supply changed at the same time, or somebody turned the "
            "regulator.",
        }[signs.verdict]
    )
    return lines


def noise(signs: Signs) -> list[str]:
    """How much the flow moves by itself, before and since."""
    spread = 100.0 * signs.spread
    lines = [
        f"While all was well, means over ten seconds stayed within {spread:.1f} % of the healthy "
        "level (95 % of them)."
    ]
    if signs.roughness > 1.3:
        lines.append(
            f"Up to the onset the pass was {signs.roughness:.1f} times as rough as usual (bumps "
            "shake hoses and tank), so each value counted for less."
        )
    else:
        lines.append("Up to the onset the pass was no rougher than usual.")
    rough = signs.rough_since
    if rough is None:
        lines.append(
            "Too little was seen before or since the onset to say how rough it has been since."
        )
    elif rough > _GASSY:
        lines.append(f"Since the onset it jumps {rough:.1f} times as much: as gas in the mix does.")
    else:
        lines.append(
            f"Since the onset it is as smooth as before ({rough:.1f} times): no sign of gas."
        )
    return lines


def threshold(told: Explanation, signs: Signs) -> list[str]:
    """How much evidence was needed, how much was there, and which promise asks for it."""
    rig = told.review.rig
    rate = rig.thresholds.false_alarms_per_100_h
    promise = (
        f"The promise: {rate:g} false alarms in 100 hours of spraying, one in "
        f"{100.0 / rate:,.0f} h (false_alarms_per_100_h under [thresholds] in the rig file)."
    )
    if told.kind == "start":
        return [
            "The first half minute was held against the calibration: it differed by more than "
            "three times what calibration, day and noise may do together, and by more than half "
            "of the smallest fault that is looked for. No sequential test is needed for that.",
        ]
    crossing = signs.crossing
    if crossing is None:
        return [promise]
    lines = [f"The test that found it looks for {_looked_for(rig, crossing)}."]
    if crossing.nats > 0.0:
        lines.append(
            f"{crossing.threshold:.1f} nats of evidence were needed, {crossing.nats:.1f} were "
            "there (a nat is one natural logarithm of the odds): what was measured since the "
            f"onset is {_times(crossing.nats)} likelier with the fault than without."
        )
    else:
        lines.append(f"{crossing.threshold:.1f} nats of evidence were needed.")
    if signs.held_back_s > 0.9:
        lines.append(
            f"There was enough {short(signs.held_back_s)} before it was said: it was held back "
            "until enough single values agreed, so that a burst of air passes for nothing else, "
            "and on rough ground until there was more."
        )
    lines.append(promise)
    return lines


def _looked_for(rig: Rig, crossing: Crossing) -> str:
    if crossing.shift < 0.0:
        tips = blocked_tips(rig.boom.tips, crossing.shift)
        part = "a quarter of a tip" if abs(tips - 0.25) < 0.01 else f"{tips:g} of a tip"
        if abs(tips - 0.5) < 0.01:
            part = "half a tip"
        elif tips > 0.99:
            part = f"{tips:.0f} tip{'' if tips < 1.5 else 's'}"
        return f"{part} blocked, {abs(percent_of(crossing.shift)):.1f} % less"
    return f"a boom that passes {percent_of(crossing.shift):.0f} % more"


def title(code: str) -> str:
    """A few words for a code."""
    known = CODES.get(code)
    return known.title if known else code.replace("_", " ").capitalize()


def short(seconds: float) -> str:
    """A duration, with tenths while they matter."""
    return f"{seconds:.1f} s" if seconds < 20.0 else words.duration(seconds)


def _share(share: float) -> str:
    return f"{100.0 * share:.1f} %"


def _times(nats: float) -> str:
    """e to this power, in words."""
    if nats > 27.6:
        return "more than a trillion times"
    times = exp(nats)
    for size, name in ((1e9, "billion"), (1e6, "million"), (1e3, "thousand")):
        if times >= size:
            return f"{times / size:.0f} {name} times"
    return f"{times:.0f} times"
