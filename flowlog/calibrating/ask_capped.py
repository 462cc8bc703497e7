"""The capped-tip check, asked: all tips, one capped, all tips again; and once more for a better
figure."""

from __future__ import annotations

import time
from typing import Final

from flowlog.calibrating.answers import AnswerError
from flowlog.calibrating.feed import Feed
from flowlog.calibrating.measure import TICK_S, MeasureError
from flowlog.calibrating.sprayings import SPRAY_S, spray_once, sprayed_of, sprayings_of
from flowlog.calibrating.work import OPEN_LINE, PARKED, WATER, Work
from flowlog.calibration.capped import CappedResult, capped
from flowlog.calibration.capped_runs import Sprayed, seconds_of, which_capped
from flowlog.calibration.faults import CalibrationError
from flowlog.rig.model import Rig

FEWEST: Final = 3
MOST: Final = 11
"""Three, and eight more."""


def ask_capped(work: Work) -> CappedResult:
    """Lead through the sprayings, live or from a recording."""
    ask, rig = work.interview, work.rig
    if rig.boom.tips < 2:
        raise CalibrationError("a boom of one tip has none to spare for this check (skip the step)")
    ask.say("It teaches how your pump's pressure answers a blocked tip, and proves on your own "
            "rig that flowlog sees one.")  # fmt: skip
    ask.say(f"You need: a blank cap for one tip. Spray {SPRAY_S:.0f} s with all tips, then with "
            "one capped, then with all again, at the working pressure; parked.")  # fmt: skip
    ask.say("Leave regulator and engine speed as they are from the first to the last.")
    ask.say(WATER)
    ask.say(PARKED)
    feed = work.feed("capped")
    if feed is None:
        name, path = work.ask_recording(
            "the check",
            lambda path: capped_of(sprayings_of(path, work.current()), work.current()),
        )
        work.sources["capped"] = name
        return capped_of(sprayings_of(path, work.current()), work.current())
    sprayed: list[Sprayed] = []
    while True:
        sprayed.append(_spray(work, feed, sprayed))
        number = len(sprayed)
        if number < FEWEST or number % 2 == 0:
            continue
        result = capped_of(sprayed, work.current())
        if number >= MOST or not _again(work, result, number):
            return result


def capped_of(sprayed: list[Sprayed], rig: Rig) -> CappedResult:
    """The result of sprayings with this rig. CalibrationError if they are no check."""
    return capped(sprayed, tips=rig.boom.tips, tick_s=TICK_S, working_pa=rig.expected_pressure_pa)


def _spray(work: Work, feed: Feed, before: list[Sprayed]) -> Sprayed:
    """One spraying; every second one has the cap on."""
    ask, number = work.interview, len(before) + 1
    with_cap = number % 2 == 0
    if number > 1:
        ask.say("Shut the boom. Engine off, then let the pressure off before you touch a tip.")
        ask.say(OPEN_LINE)
        ask.say("Cap one tip, the same one every time." if with_cap else "Take the cap off again.")
        ask.say("Then engine on again, and the same regulator setting and engine speed as before.")
        ask.say(PARKED)
    kind = "one tip capped" if with_cap else "all tips"

    def measured() -> dict[str, object]:
        found = spray_once(
            feed, work.current(), work.units, ask.talk.progress, ask.talk.pressed, time.time
        )
        if before and found["at_s"] <= before[-1].at_s:
            # The wall clock was set back meanwhile; how long the pause was matters little.
            found["at_s"] = before[-1].at_s + 2.0 * SPRAY_S
        check_kinds([*before, sprayed_of(found)], work.rig.boom.tips)
        return found

    found = ask.measure(
        f"spraying {number}",
        f"Spraying {number}, {kind}: boom shut? Enter, then open it for {SPRAY_S:.0f} s.",
        measured,
        lambda got: f"{len(got['flow']) * TICK_S:.0f} s with {kind}",
    )
    return sprayed_of(found)


def check_kinds(sprayed: list[Sprayed], tips: int) -> None:
    """MeasureError where the newest spraying is not of the kind whose turn it was."""
    if len(sprayed) < 2:
        seconds_of(sprayed, TICK_S)
        return
    seen = which_capped(seconds_of(sprayed, TICK_S), tips)
    wanted = [number % 2 == 1 for number in range(len(sprayed))]
    if seen == wanted:
        return
    if wanted[-1]:
        raise MeasureError("the flow did not fall (is the cap on, does it leak? spray once more)")
    raise MeasureError("the flow is not back where it was (is the cap off? spray once more)")


def _again(work: Work, result: CappedResult, number: int) -> bool:
    ask = work.interview
    wanted = f"{result.more} more would do" if result.more > 0 else "more make it better"
    if result.good_enough:
        wanted = "that is enough"
    ask.say(f"  The answer is known to +-{result.answer.expanded:.2f} (95 %): {wanted}.")
    return ask.ask(
        f"again {number}",
        "Two more sprayings, capped and with all tips? (yes, done)",
        _yes_or_done,
        default="done" if result.good_enough or result.more < 0 else "yes",
        quiet=True,
        hint="A pump's pressure wanders by itself; with more sprayings that averages out.",
    )


def _yes_or_done(text: str) -> tuple[bool, str]:
    word = text.strip().casefold()
    if word in {"y", "yes"}:
        return True, "yes"
    if word in {"d", "done", "n", "no"}:
        return False, "done"
    raise AnswerError(f"'{text.strip()[:20]}' is neither yes nor done")
