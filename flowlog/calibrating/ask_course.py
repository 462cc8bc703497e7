"""The course, asked: a length, two timed runs, a third when they disagree."""

from __future__ import annotations

from flowlog.calibrating.answers import Quantity
from flowlog.calibrating.work import Work
from flowlog.calibration.course import CourseResult, course, plan_course, time_doubt
from flowlog.calibration.faults import DECIMAL_SLIPS, Slip, likely_slip
from flowlog.units import show

MOST_RUNS = 8
_LENGTH_SLIPS = (
    *DECIMAL_SLIPS,
    Slip(1 / 3.2808, 0.1, "about a third of it: metres taken for feet?"),
    Slip(3.2808, 0.1, "about three times it: feet taken for metres?"),
    Slip(1 / 12, 0.1, "a twelfth of it: inches taken for feet?"),
)


def ask_course(work: Work) -> CourseResult:
    """Ask for the course's length and the times over it."""
    ask, boom, units = work.interview, work.rig.boom, work.units
    plan = plan_course(boom)
    planned = show(plan.length_m, "length", units) if units == "us" else "50 m"
    covered = f"{planned} of it are 1000 ft2" if units == "us" else "any length will do"
    spacing = show(boom.spacing_m, "length", unit="in" if units == "us" else "cm")
    ask.say("You need: tape, two flags, stopwatch. Tank half full of clean water.")
    ask.say("Drive in the gear and throttle of the job, at full pace before the first flag.")
    ask.say(
        f"Effective width: {boom.tips} tips x {spacing} = "
        f"{show(plan.width_m, 'length', units)}; {covered}."
    )

    def length_doubt(length_m: float) -> str | None:
        if 10.0 <= length_m <= 200.0:
            return None
        slip = likely_slip(length_m / plan.length_m, _LENGTH_SLIPS)
        if slip is not None:
            return f"beside {planned} this is {slip.because}"
        return "an odd length for a course (10 to 200 m, 30 to 650 ft)"

    length = ask.ask(
        "length",
        "Length of the course, measured with the tape",
        Quantity("length", unit="ft" if units == "us" else "m", example=planned),
        doubt=length_doubt,
        default=planned,
        hint="Any length will do; longer is surer. 150 ft or 50 m is usual.",
    )
    ask.say("Time from flag to flag, with tenths: 21.3, or 1:05.3 for minutes.")
    times: list[float] = []
    reader = Quantity("time", unit="s", example="21.3 s")
    expected = length / work.in_use.rig.work.speed_m_s
    while len(times) < MOST_RUNS:
        number = len(times) + 1
        found = course(plan.width_m, length, times) if times else None
        if found is not None and found.verdict == "third run wanted":
            ask.say(f"  The two runs disagree by {100 * found.spread_share:.1f} %: drive a third.")
        elif number > 2:
            break
        times.append(
            ask.ask(
                f"run {number}",
                f"Run {number}, time",
                reader,
                doubt=lambda seconds: _time_doubt(seconds, times, expected, length),
                hint="Start and stop the watch when the same wheel passes the flags.",
            )
        )
    return course(plan.width_m, length, times)


def _time_doubt(
    seconds: float, others: list[float], expected_s: float, length_m: float
) -> str | None:
    speed = length_m / seconds
    if not 0.2 <= speed <= 9.0:
        return f"that would be {speed * 3.6:.3g} km/h ({speed / 0.44704:.3g} mph)"
    return time_doubt(seconds, others, expected_s=expected_s)
