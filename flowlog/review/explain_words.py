"""What an alert rested on, in words for the person who has to decide whether to believe it."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import Final

from flowlog.calibrating.work import OPEN_LINE
from flowlog.monitor.codes import CODES
from flowlog.monitor.outputs import Event
from flowlog.physics.tips import blocked_tips
from flowlog.review import words
from flowlog.review.explain import Explanation, same
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
_TOUCHED: Final = frozenset(
    {
        *("tip_blocked", "boom_leak", "boom_unexpected", "boom_drift", "mix_changed", "foam"),
        *("meter_silent", "meter_low", "meter_double", "meter_implausible"),
        *("gauge_open", "gauge_short", "gauge_stuck", "gauge_implausible"),
        *("pressure_low", "pressure_high", "supply_weak", "air_drawn", "rate_low", "rate_high"),
    }
)
"""Where a check may end with a line or a tip being opened."""


_GASSY: Final = 3.0
"""Two half minutes of the same normal noise differ by 2.8 in one case of a hundred (simulated)."""


@dataclass(frozen=True, slots=True)
class Section:
    """Paragraphs under a heading."""

    title: str
    lines: tuple[str, ...]
    numbered: bool = False


def title_of(told: Explanation) -> str:
    """`Tip blocked: alert 1 of route 3, Cart 3`."""
    name = _title(told.opened.code)
    number = f"alert {told.number} of" if told.number is not None else "noted on"
    place = f"recording {words.clean(told.source)}" if told.source else f"route {_route(told)}"
    return f"{name}: {number} {place}, {words.clean(told.review.rig.name)}"


def sections_of(told: Explanation) -> list[Section]:
    """Everything there is to say, in the order in which one asks."""
    sections = [Section("What was said, and when", tuple(_said(told)))]
    signs = told.signs
    if told.kind in ("tests", "start") and signs is not None:
        sections.append(Section("Against what", tuple(_reference(told, signs))))
        sections.append(Section("What it may be, and how likely", tuple(_alternatives(told))))
        sections.append(Section("What the pressure did", tuple(_pressure(told, signs))))
        if told.kind == "tests":
            sections.append(Section("How rough the flow was", tuple(_noise(signs))))
        sections.append(Section("How sure one had to be", tuple(_threshold(told, signs))))
    elif told.kind == "level" and signs is not None:
        sections.append(Section("Against what", tuple(_reference(told, signs))))
        sections.append(Section("How it was told", (_why_no_test(told),)))
    else:
        if told.kind in ("tests", "start"):
            sections.append(Section("What it may be, and how likely", tuple(_alternatives(told))))
        sections.append(Section("How it was told", (_why_no_test(told),)))
    if len(told.said) > 1:
        sections.append(Section("What became of it", tuple(_changes(told))))
    checks = told.last.checks or told.opened.checks
    if checks:
        touched = {told.opened.code, told.last.code} & _TOUCHED
        caution = (OPEN_LINE,) if touched else ()
        sections.append(Section("What to check, in this order", caution))
        sections.append(Section("", checks, numbered=True))
    return sections


def doubts_of(told: Explanation) -> list[str]:
    """What has to be said before all else: that the detector of today sees it otherwise."""
    if told.said[0].source == "daemon":
        return []
    if told.gone:
        return [
            "The raw samples of this route are not all stored any more: the detector cannot be run "
            "again. What was said is shown with the readings, one a second."
        ]
    if not told.again:
        text = (
            "This version of flowlog no longer says this alert: it was said by the detector of "
            "its day. The chart shows what today's detector sees."
        )
        if told.instead:
            now = "; ".join(f"{_title(event.code)} ({event.alert})" for event in told.instead)
            text += f" About then it says: {now}."
        return [text]
    if told.differs:
        first = "This version of flowlog says this alert too, but not all of it alike."
        return [f"{first} {_difference(told)}"]
    return []


def _difference(told: Explanation) -> str:
    """The first of its events that comes out otherwise today."""
    for row, again, at in zip(told.said, told.again, told.changes_s, strict=False):
        if same(row.event, again):
            continue
        when = _after(at)
        if row.event.text == again.text:
            return f"What it said {when} comes with the same words and slightly other numbers."
        return f"Instead of what it said {when}, it now says: {words.clean(again.text)}"
    when = _after(told.changes_s[len(told.again)])
    return f"What was said {when} is not said any more."


# -- what was said -------------------------------------------------------------------------------


def _said(told: Explanation) -> list[str]:
    opened = told.opened
    lines = [
        f"{_moment(told, 0)}: {words.clean(opened.text)}",
        f"Its name is {told.alert.alert}. {_onset(told)}",
    ]
    size = _size(opened)
    if size:
        lines.append(size)
    last = told.last
    if last is not opened and _size(last):
        lines.append(f"At last, {_after(told.changes_s[_index(told, last)])}: {_size(last)}")
    if told.cleared_s is None and told.number is not None:
        open_still = told.alert.open and not told.review.ended
        lines.append("It is still open." if open_still else "It never cleared.")
    return lines


def _onset(told: Explanation) -> str:
    since = words.local_time(told.said[0].since_wall_us) if _clock(told) else ""
    at = f", at {since}" if since else ""
    if told.said_s < 0.05:
        return f"It was said the moment it began{at}."
    how = (
        "estimated: where the evidence began to add up"
        if told.kind == "tests"
        else "as far as can be told"
    )
    return f"It began about {_short(told.said_s)} before it was said{at} ({how})."


def _size(event: Event) -> str:
    if event.size is None:
        return ""
    value, low, high, unit = event.size, event.size_low, event.size_high, event.size_unit
    if unit == "tips":
        said = f"Size: {value:.1f} tips"
        between = f"between {low:.1f} and {high:.1f}" if None not in (low, high) else ""
    elif unit == "%":
        said = f"Size: {value:+.1f} %"
        between = f"between {low:+.1f} and {high:+.1f} %" if None not in (low, high) else ""
    else:
        return ""
    return f"{said}, with a probability of 95 % {between}." if between else f"{said}."


# -- the boom ------------------------------------------------------------------------------------


def _reference(told: Explanation, signs: Signs) -> list[str]:
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
    if told.opened.change == "noted":
        lines.append("From then on that counts as healthy, and in the chart as zero.")
    return lines


def _alternatives(told: Explanation) -> list[str]:
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
        lines.append(f"{text}  {_CLASSES.get(code, _title(code))}")
    if later:
        lines.append("First when it was said, then when it was measured last.")
    return lines


def _pressure(told: Explanation, signs: Signs) -> list[str]:
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


def _noise(signs: Signs) -> list[str]:
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


def _threshold(told: Explanation, signs: Signs) -> list[str]:
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
            f"There was enough {_short(signs.held_back_s)} before it was said: it was held back "
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


# -- the rest ------------------------------------------------------------------------------------

_HOW: Final = {
    "boom_drift": "the slow average of what the healthy boom passes moved by 3 % from where it "
    "began; no sequential test is run for that, since it takes hours.",
    "boom_unexpected": "the first half minute differed by more than a fifth from what the rig file "
    "says; no sequential test is needed for that.",
    "supply_weak": "the pressure, averaged over ten seconds, left where the supply held it at "
    "first by more than 15 %, while the boom passed what it should at it.",
    "regulator_moved": "the pressure, averaged over ten seconds, left where the supply held it at "
    "first by more than 15 %, while the boom passed what it should at it.",
    "air_drawn": "flow jumped both ways again and again within five seconds, while the pressure "
    "sagged: noise does one of them, air in the suction line does both.",
}


def _why_no_test(told: Explanation) -> str:
    code = told.opened.code
    if told.kind in ("tests", "start"):
        return (
            "No tick of settled spraying could be judged again, so there is no statistic to show."
        )
    if code in _HOW:
        return f"There is no statistic of the boom's tests to show: {_HOW[code]}"
    if told.said[0].source == "daemon":
        return (
            "There is no statistic: the program said it of itself or its link, not of the boom. "
            "The chart shows what flow and pressure were."
        )
    return (
        "There is no statistic of the boom's tests to show: this is said by a plain rule on "
        "single values (a limit, a time, a signal at its end), not by how much the boom passes. "
        "The chart shows flow and pressure, one value a second."
    )


def _changes(told: Explanation) -> list[str]:
    lines = []
    for row, at in zip(told.said[1:], told.changes_s[1:], strict=True):
        event = row.event
        how = {"cleared": "cleared", "noted": "noted"}.get(event.change, "")
        if not how:
            how = "measured again" if event.details.get("surer") else "changed"
        before = told.said[: told.said.index(row)]
        if event.code != before[-1].event.code:
            how = f"named otherwise ({_title(event.code)})"
        lines.append(f"{_after(at)}, {how}: {words.clean(event.text)}")
    return lines


# -- small words ---------------------------------------------------------------------------------


def _title(code: str) -> str:
    known = CODES.get(code)
    return known.title if known else code.replace("_", " ").capitalize()


def _route(told: Explanation) -> str:
    name = told.review.route.name
    return f"{told.review.number}" + (f" '{words.clean(name)}'" if name else "")


def _clock(told: Explanation) -> bool:
    return told.review.clock != "none"


def _moment(told: Explanation, index: int) -> str:
    if _clock(told):
        return words.local_time(told.said[index].wall_us, with_date=True)
    at = told.onset_of_route_s + told.changes_s[index]
    return f"{words.clock_style(at)} after the beginning"


def _index(told: Explanation, event: Event) -> int:
    return next(i for i, row in enumerate(told.said) if row.event is event)


def _after(seconds: float) -> str:
    return f"{_short(seconds)} after the onset"


def _short(seconds: float) -> str:
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
