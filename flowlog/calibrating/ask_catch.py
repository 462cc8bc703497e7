"""The catch, asked: pressure, time, and what each tip gave."""

from __future__ import annotations

from collections.abc import Callable

from flowlog.calibrating.answers import AnswerError, Number, Quantity
from flowlog.calibrating.bars import tip_bars
from flowlog.calibrating.work import OPEN_LINE, PARKED, WATER, Work
from flowlog.calibration.catch import CatchResult, Caught, catch, catch_doubt
from flowlog.calibration.faults import DECIMAL_SLIPS, Slip, likely_slip
from flowlog.physics.tips import tip_flow_m3_s
from flowlog.units import show

_PRESSURE_SLIPS = (
    *DECIMAL_SLIPS,
    Slip(14.5038, 0.4, "bar taken for psi?"),
    Slip(1 / 14.5038, 0.4, "psi taken for bar?"),
    Slip(1 / 6.894757, 0.4, "kPa taken for psi?"),
)
Answer = tuple[float | None, float | None]


class _Catch:
    """Reads "64 fl oz", "64", "64 fl oz in 20.5 s", "none" for a tip that could not be caught."""

    def __init__(self, volume: Quantity) -> None:
        self._volume = volume
        self._time = Quantity("time", unit="s")

    def __call__(self, text: str) -> tuple[Answer, str]:
        clean = text.strip()
        if clean.casefold() in {"none", "-", "missing"}:
            return (None, None), "none"
        volume_text, word, time_text = clean.partition(" in ")
        volume, kept = self._volume(volume_text)
        if not word:
            return (volume, None), kept
        seconds, kept_time = self._time(time_text)
        return (volume, seconds), f"{kept} in {kept_time}"


def ask_catch(work: Work) -> CatchResult:
    """Ask for every tip's catch; tips can be cleaned and caught again until they are fine."""
    ask, rig, units = work.interview, work.rig, work.units
    us = units == "us"
    ask.say("You need: jug with fine graduations, stopwatch. Boom open at working pressure.")
    ask.say(WATER)
    ask.say(PARKED)
    pressure = ask.ask(
        "pressure",
        "Pressure at the boom ('none' if no gauge)",
        _OrNone(
            Quantity("pressure", unit="psi" if us else "bar", example="40 psi" if us else "3 bar")
        ),
        doubt=lambda pa: _pressure_doubt(pa, work),
        hint="As the gauge at the boom shows it while all tips spray. It tells what a new tip "
        "would give.",
    )
    course = work.course()
    default = None if course is None else f"{course.mean_s:.1f} s"
    seconds = ask.ask(
        "time",
        "Time of each catch",
        Quantity("time", unit="s"),
        default=default,
        doubt=lambda s: "too short to time by hand" if s < 5 else "longer than any jug lasts"
        if s > 600 else None,
        hint="The same for all tips; the longer the surer. Half a minute is good.",
    )  # fmt: skip
    expected = tip_flow_m3_s(rig.boom.tip.coefficient, pressure or rig.expected_pressure_pa)
    about = show(expected * seconds, "volume", units, unit="fl oz" if us else "mL", decimals=0)
    ask.say(f"Catch tip 1 (left end) to tip {rig.boom.tips}; a new tip gives about {about}.")
    ask.say("0 for a tip that gives nothing, 'none' for one that cannot be caught.")
    reader = _Catch(
        Quantity(
            "volume", unit="fl oz" if us else "mL", zero=True,
            example="32 fl oz" if us else "800 mL",
        )
    )  # fmt: skip
    caught: list[Caught] = []

    def one(key: str, prompt: str, tip: int, *, anew: bool) -> None:
        volume, own = ask.ask(key, prompt, reader, doubt=_doubt_of(caught, tip, seconds, expected))
        if volume is not None:
            caught.append(Caught(tip, volume, own or seconds, anew=anew))

    for tip in range(1, rig.boom.tips + 1):
        one(f"tip {tip}", f"Tip {tip} of {rig.boom.tips}", tip, anew=False)
    if not any(each.volume_m3 > 0.0 for each in caught):
        ask.talk.say("  No tip gave anything: is the boom open? Catch again.")
        ask.forget("tip 1")
        return ask_catch(work)
    again = 0
    while True:
        result = catch(
            rig.boom, caught, course=course, pressure_pa=pressure,
        )  # fmt: skip
        if not result.named():
            return result
        ask.show(tip_bars(result, units))
        again += 1
        ask.say(OPEN_LINE)
        ask.say("Clean or replace what is named and catch it again, or end with Enter.")
        tip = int(
            ask.ask(
                f"again {again}",
                "Tip to catch again (0 = none)",
                Number(0, rig.boom.tips, "the number of a tip", whole=True),
                default="0",
            )
        )
        if tip == 0:
            return result
        one(f"again {again} volume", f"Tip {tip} again", tip, anew=True)


class _OrNone:
    def __init__(self, reader: Quantity) -> None:
        self._reader = reader

    def __call__(self, text: str) -> tuple[float | None, str]:
        if text.strip().casefold() in {"none", "-"}:
            return None, "none"
        if not text.strip():
            raise AnswerError("write the pressure with its unit, or 'none'")
        return self._reader(text)


def _pressure_doubt(pressure_pa: float | None, work: Work) -> str | None:
    if pressure_pa is None:
        return None
    boom = work.rig.boom
    if 0.5 * boom.pressure_low_pa <= pressure_pa <= 2.0 * boom.pressure_high_pa:
        return None
    band = (
        f"{show(boom.pressure_low_pa, 'pressure', work.units)} to "
        f"{show(boom.pressure_high_pa, 'pressure', work.units)}"
    )
    slip = likely_slip(pressure_pa / work.rig.expected_pressure_pa, _PRESSURE_SLIPS)
    why = f"; {slip.because.removesuffix('?')}?" if slip else ""
    return f"far outside the tips' band ({band}){why}"


def _doubt_of(
    caught: list[Caught], tip: int, seconds: float, expected_m3_s: float
) -> Callable[[Answer], str | None]:
    def doubt(answer: Answer) -> str | None:
        volume, own = answer
        if volume is None:
            return None
        others = [one.volume_m3 / one.seconds for one in caught if one.tip != tip]
        if volume == 0.0:
            return "nothing at all: a clogged tip, or its check valve stays shut"
        return catch_doubt(volume / (own or seconds), others, expected_m3_s=expected_m3_s)

    return doubt
