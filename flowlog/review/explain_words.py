"""What an alert rested on, in words for the person who has to decide whether to believe it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from flowlog.calibrating.work import OPEN_LINE
from flowlog.monitor.creep import CREPT_S
from flowlog.monitor.outputs import Event
from flowlog.review import words
from flowlog.review.explain import Explanation, same
from flowlog.review.explain_boom import (
    alternatives,
    noise,
    pressure,
    reference,
    short,
    threshold,
    title,
)

_TOUCHED: Final = frozenset(
    {
        *("tip_blocked", "boom_leak", "boom_unexpected", "boom_drift", "mix_changed", "foam"),
        *("meter_silent", "meter_low", "meter_double", "meter_implausible"),
        *("gauge_open", "gauge_short", "gauge_stuck", "gauge_implausible", "gauge_drift"),
        *("pressure_low", "pressure_high", "supply_weak", "air_drawn", "rate_low", "rate_high"),
    }
)
"""Where a check may end with a line or a tip being opened."""


@dataclass(frozen=True, slots=True)
class Section:
    """Paragraphs under a heading."""

    title: str
    lines: tuple[str, ...]
    numbered: bool = False


def title_of(told: Explanation) -> str:
    """`Tip blocked: alert 1 of route 3, Cart 3`."""
    name = title(told.opened.code)
    number = f"alert {told.number} of" if told.number is not None else "noted on"
    place = f"recording {words.clean(told.source)}" if told.source else f"route {_route(told)}"
    return f"{name}: {number} {place}, {words.clean(told.review.rig.name)}"


def sections_of(told: Explanation) -> list[Section]:
    """Everything there is to say, in the order in which one asks."""
    sections = [Section("What was said, and when", tuple(_said(told)))]
    signs = told.signs
    if told.kind in ("tests", "start") and signs is not None:
        sections.append(Section("Against what", tuple(reference(told, signs))))
        sections.append(Section("What it may be, and how likely", tuple(alternatives(told))))
        sections.append(Section("What the pressure did", tuple(pressure(told, signs))))
        if told.kind == "tests":
            sections.append(Section("How rough the flow was", tuple(noise(signs))))
        sections.append(Section("How sure one had to be", tuple(threshold(told, signs))))
    elif told.kind == "level" and signs is not None:
        sections.append(Section("Against what", tuple(reference(told, signs))))
        sections.append(Section("How it was told", (_why_no_test(told),)))
    else:
        if told.kind in ("tests", "start"):
            sections.append(Section("What it may be, and how likely", tuple(alternatives(told))))
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
            now = "; ".join(f"{title(event.code)} ({event.alert})" for event in told.instead)
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
        until = "recording" if told.source else "route"
        ended = f"It had not cleared when the {until} ended."
        lines.append("It is still open." if open_still else ended)
    return lines


def _onset(told: Explanation) -> str:
    since = words.local_time(told.said[0].since_wall_us) if _clock(told) else ""
    at = f", at {since}" if since else ""
    if told.said_s < 0.05:
        return f"It was said the moment it began{at}."
    details = told.opened.details
    if "since_earlier_s" in details:
        earliest = told.said_s + details["since_earlier_s"]
        latest = max(0.0, told.said_s - details["since_later_s"])
        over = details.get("came_over_s", 0.0)
        how = f" It took about {short(over)} to come." if over >= CREPT_S else ""
        return (
            f"It began {short(told.said_s)} before it was said{at}; with a probability of 95 % "
            f"between {latest:.1f} and {earliest:.1f} s before.{how}"
        )
    how = (
        "estimated: where the evidence began to add up"
        if told.kind == "tests"
        else "as far as can be told"
    )
    return f"It began about {short(told.said_s)} before it was said{at} ({how})."


def _size(event: Event) -> str:
    if event.size is None:
        return ""
    value, low, high, unit = event.size, event.size_low, event.size_high, event.size_unit
    if unit == "tips":
        said = f"Size: {value:.1f} {'tip' if 0.95 <= value < 1.05 else 'tips'}"
        between = f"between {low:.1f} and {high:.1f}" if None not in (low, high) else ""
    elif unit == "%":
        said = f"Size: {value:+.1f} %"
        between = f"between {low:+.1f} and {high:+.1f} %" if None not in (low, high) else ""
    else:
        return ""
    return f"{said}, with a probability of 95 % {between}." if between else f"{said}."


# -- the rest ------------------------------------------------------------------------------------

_MOVED: Final = (
    "the pressure, averaged over seconds, went farther from where the supply held it at first than "
    "it wanders by itself, while the boom passed what it should at it."
)
_HOW: Final = {
    "boom_drift": "the slow average of what the healthy boom passes moved away from where it "
    "began, which takes hours.",
    "boom_unexpected": "the beginning of the route differed from what the rig file says by more "
    "than meter, gauge and tips out of the box may.",
    "gauge_drift": "in three pauses in a row the gauge read, with the boom shut and no flow, what "
    "neither check valves nor an empty boom can give, or what it did not read in the first ones. "
    "One is enough where the boom seemed to have got what such a gauge makes of a healthy one.",
    "supply_weak": _MOVED,
    "regulator_moved": _MOVED,
    "air_drawn": "flow jumped both ways again and again within seconds, while the pressure sagged: "
    "foam and bursts of air do one of them, air in the suction line does both.",
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
            how = f"named otherwise ({title(event.code)})"
        lines.append(f"{_after(at)}, {how}: {words.clean(event.text)}")
    return lines


# -- small words ---------------------------------------------------------------------------------


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
    return f"{short(seconds)} after the onset"
