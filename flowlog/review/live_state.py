"""What a person at the sprayer needs to see now, as plain data: no database, no clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, Protocol

from flowlog.monitor.codes import CODES, Code, Urgency
from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.monitor.summary import Alert
from flowlog.rig.model import Rig

Freshness = Literal["LIVE", "LATE", "NO DATA"]

LATE_AFTER_S: Final = 3.0
"""A reading comes every second and is stored within another one; two in a row are missing."""
GONE_AFTER_S: Final = 10.0
"""From here on the last value says nothing about now, and is not shown as a value any more."""

ON_RATE_SHARE: Final = 0.05
"""Adjust when the rate is off by more than this: the usual limit of extension services."""
FAR_OFF_SHARE: Final = 0.10


@dataclass(frozen=True, slots=True)
class LiveAlert:
    """An open alert in words."""

    title: str
    urgency: Urgency
    text: str
    sure: str
    """How sure the size is; empty where the alert has no size with an interval."""
    since_s: float | None
    """Seconds since its estimated onset; None if that is not known."""
    checks: tuple[str, ...]
    alert: str = ""
    """Its name within the route, the same through its life."""
    code: str = ""
    since_wall_us: int | None = None
    probability: float | None = None
    """How sure it is that the fault is what it says, where the monitor weighed that; 0 to 1."""
    seen: bool = False
    """Somebody said that they know."""
    news: int = 1
    """How often there was news: it opened, grew, turned out to be another thing."""


@dataclass(frozen=True, slots=True)
class Cleared:
    """An alert that is over."""

    alert: str
    title: str
    text: str
    ago_s: float


@dataclass(frozen=True, slots=True)
class OpenMark:
    """A stop that was begun by a mark and is not ended."""

    name: str | None
    area_m2: float | None
    since_s: float | None


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums of a stop or of the route so far, SI."""

    label: str
    area_m2: float
    volume_m3: float
    rate_m3_m2: float | None
    spraying_s: float
    name: str | None = None
    number: int | None = None
    """Of a stop, from 1."""


@dataclass(frozen=True, slots=True)
class LiveState:
    """Everything on the screen."""

    rig: Rig
    freshness: Freshness
    age_s: float | None
    """Age of the newest reading; None if there is none at all."""
    reading: Reading | None
    """None as soon as it is too old to say anything."""
    clock: str
    """Local time of day, as text."""
    route: Totals | None
    stop: Totals | None
    alerts: tuple[LiveAlert, ...]
    noted: str = ""
    """The newest thing worth noting, in one line."""
    advice: str = ""
    """What to do about missing data."""
    daemon: bool = False
    """Whether a daemon logs into this store now."""
    route_uid: str = ""
    """Empty: nothing was ever logged."""
    route_number: int | None = None
    """Counts the rig's routes from 1, as the review does."""
    mark: OpenMark | None = None
    cleared: tuple[Cleared, ...] = ()
    """What cleared within the last minute, newest first."""


class Marked(Protocol):
    """A mark of a stop, as the store has it."""

    @property
    def kind(self) -> str: ...
    @property
    def name(self) -> str | None: ...
    @property
    def wall_us(self) -> int: ...
    @property
    def area_m2(self) -> float | None: ...


def freshness(age_s: float | None) -> Freshness:
    """How far the newest reading speaks of now."""
    if age_s is None or age_s > GONE_AFTER_S:
        return "NO DATA"
    return "LATE" if age_s > LATE_AFTER_S else "LIVE"


def rate_verdict(share: float) -> str:
    """Words for a rate that is `share` of the asked one."""
    off = share - 1.0
    if abs(off) <= ON_RATE_SHARE:
        return "ON RATE"
    if abs(off) <= FAR_OFF_SHARE:
        return "A LITTLE HIGH" if off > 0 else "A LITTLE LOW"
    return "TOO HIGH" if off > 0 else "TOO LOW"


def pressure_verdict(pressure_pa: float, rig: Rig) -> str:
    """Words for a pressure against the tips' band."""
    if pressure_pa < rig.boom.pressure_low_pa:
        return "BELOW BAND"
    if pressure_pa > rig.boom.pressure_high_pa:
        return "ABOVE BAND"
    return "in band"


def sure_words(alert: Alert) -> str:
    """The interval of an alert's size, in words; empty if it has none."""
    if alert.size is None or alert.size_low is None or alert.size_high is None:
        return ""
    if alert.size_unit in ("share", ""):
        return f"95 % sure: {100 * alert.size_low:.0f} to {100 * alert.size_high:.0f} %"
    return f"95 % sure: {alert.size_low:.1f} to {alert.size_high:.1f} {alert.size_unit}"


def open_alerts(
    alerts: Sequence[Alert],
    since_s: Sequence[float | None],
    codes: Mapping[str, Code] = CODES,
) -> tuple[LiveAlert, ...]:
    """The open ones, most urgent first, then oldest first.

    Args:
        alerts: those of the route (`flowlog.monitor.summary.alerts_of`).
        since_s: for each, the seconds since its onset.
        codes: what is known about each code; the daemon has some of its own.
    """
    shown = []
    for alert, age in zip(alerts, since_s, strict=True):
        if not alert.open:
            continue
        code = codes.get(alert.code)
        shown.append(
            LiveAlert(
                title=code.title if code else alert.code.replace("_", " "),
                urgency=code.urgency if code else "look",
                text=alert.text,
                # A sentence that has the range in it need not be followed by it.
                sure="" if "(" in alert.text else sure_words(alert),
                since_s=age,
                checks=alert.checks or (code.checks if code else ()),
                alert=alert.alert,
                code=alert.code,
            )
        )
    order = {"stop": 0, "look": 1, "note": 2}
    return tuple(sorted(shown, key=lambda alert: (order[alert.urgency], -(alert.since_s or 0.0))))


def news_of(events: Iterable[Event]) -> dict[str, int]:
    """For each alert, how often there was news; the same thing measured better is none."""
    news: dict[str, int] = {}
    codes: dict[str, str] = {}
    for event in events:
        if event.change in ("opened", "grew"):
            only_surer = "surer" in event.details and codes.get(event.alert) == event.code
            news[event.alert] = news.get(event.alert, 0) + (not only_surer)
            codes[event.alert] = event.code
    return news


def onset_age_s(
    since: Position, since_wall_us: int, newest: Reading | None, age_s: float | None, now_us: int
) -> float | None:
    """Seconds since an onset: by the board's clock within its segment, else by the wall clock.

    None if the wall clock has been set back to before the onset.
    """
    if newest is not None and age_s is not None and newest.at.segment == since.segment:
        return max(0.0, (newest.at.t_us - since.t_us) / 1e6 + age_s)
    ago = (now_us - since_wall_us) / 1e6
    return ago if ago >= 0 else None


def open_mark(marks: Sequence[Marked], now_us: int) -> OpenMark | None:
    """The stop that the operator has begun and not ended, as the marks say.

    Args:
        marks: in the order in which they were taken.
        now_us: UTC now.
    """
    found: OpenMark | None = None
    for mark in marks:
        if mark.kind == "end":
            found = None
        elif mark.kind == "begin":
            ago_s = (now_us - mark.wall_us) / 1e6
            found = OpenMark(mark.name, mark.area_m2, ago_s if ago_s >= 0 else None)
        elif found is not None:
            found = replace(
                found,
                name=mark.name or found.name,
                area_m2=found.area_m2 if mark.area_m2 is None else mark.area_m2,
            )
    return found
