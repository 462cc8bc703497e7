"""The gauge, asked: the vented zero, then pressures beside a reference gauge."""

from __future__ import annotations

from typing import Literal

from flowlog.calibrating.answers import AnswerError, Number, Quantity
from flowlog.calibrating.feed import Feed
from flowlog.calibrating.measure import steady_code
from flowlog.calibrating.work import OPEN_LINE, PARKED, Work
from flowlog.calibration.faults import likely_slip
from flowlog.calibration.gauge import _SPAN_SLIPS as SPAN_SLIPS
from flowlog.calibration.gauge import GaugePoint, GaugeResult, code_doubt, gauge
from flowlog.rig.model import Rig
from flowlog.units import show

MOST_POINTS = 12
WANTED = 3


def ask_gauge(work: Work) -> GaugeResult:
    """Ask for the zero and the pressures, reading the codes live where the board is there."""
    ask, rig, units = work.interview, work.rig, work.units
    ask.say("You need: a gauge that you trust, fitted beside the rig's transducer.")
    ask.say(OPEN_LINE)
    feed = work.feed("gauge")
    ask.say("First the zero: engine off, boom open until nothing drips, pressure gone.")
    points = [GaugePoint(0.0, _share(work, feed, "zero", "Zero, vented"))]
    low = show(rig.boom.pressure_low_pa, "pressure", units)
    high = show(rig.boom.pressure_high_pa, "pressure", units)
    ask.say(f"Now the pressures: {low}, the middle, {high}, each held still.")
    ask.say(PARKED)
    reader = Quantity(
        "pressure", unit="psi" if units == "us" else "bar",
        example="40 psi" if units == "us" else "3 bar",
    )  # fmt: skip
    while len(points) <= MOST_POINTS:
        number = len(points)
        more = f"Pressure {number}" + (f" of {WANTED}" if number <= WANTED else " (or 'done')")
        share = _share_or_done(work, feed, number, more)
        if share is None:
            break
        reference = ask.ask(
            f"reference {number}",
            "   the reference gauge reads",
            reader,
            doubt=lambda pa, share=share: _doubt(pa, share, work.rig),  # type: ignore[misc]
            hint="Read it to half a graduation, at eye height.",
        )
        way: Literal["up", "down"] = "up" if reference >= points[-1].reference_pa else "down"
        points.append(GaugePoint(reference, share, way))
    return gauge(points, rig.gauge)


def _share_or_done(work: Work, feed: Feed | None, number: int, prompt: str) -> float | None:
    ask = work.interview
    if number > WANTED:
        go_on = ask.ask(
            f"more {number}",
            "Another pressure? (yes, done)",
            lambda text: (True, "yes") if text.strip().casefold() in {"y", "yes"}
            else _done(text),
            default="done",
        )  # fmt: skip
        if not go_on:
            return None
    return _share(work, feed, f"code {number}", prompt)


def _done(text: str) -> tuple[bool, str]:
    if text.strip().casefold() in {"d", "done", "n", "no"}:
        return False, "done"
    raise AnswerError(f"'{text.strip()[:20]}' is neither yes nor done")


def _share(work: Work, feed: Feed | None, key: str, prompt: str) -> float:
    ask, rig = work.interview, work.rig
    codes = 1 << rig.gauge.adc_bits
    if feed is None:
        code = ask.ask(
            key,
            f"{prompt}: ADC code",
            Number(0, codes - 1, "a code of the board's ADC"),
            doubt=lambda code: code_doubt(code / codes),
        )
        return code / codes

    def tell(found: dict[str, float]) -> str:
        shown = _shown_pa(found["share"], rig)
        return (
            f"code {found['share'] * codes:.1f} of {codes} "
            f"({show(shown, 'pressure', work.units)} by the rig file)"
        )

    found = ask.measure(
        key,
        f"{prompt}: held still? Enter reads the board.",
        lambda: steady_code(feed, rig, ask.talk.progress, ask.talk.pressed),
        tell,
    )
    return float(found["share"])


def _shown_pa(share: float, rig: Rig) -> float:
    sensor = rig.gauge
    return sensor.span_pa * (share - sensor.zero_share) / (sensor.span_share - sensor.zero_share)


def _doubt(reference_pa: float, share: float, rig: Rig) -> str | None:
    shown = _shown_pa(share, rig)
    if abs(shown - reference_pa) <= 0.08 * rig.gauge.span_pa:
        return None
    slip = likely_slip(shown / reference_pa, SPAN_SLIPS) if shown > 0 else None
    why = f" ({slip.because})" if slip else ""
    return f"the rig's gauge shows {shown / reference_pa:.2g} times that{why}"
