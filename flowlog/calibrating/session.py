"""The guided session: its steps in order, what is kept, and the last question before storing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from rich.text import Text

from flowlog.calibrating.answers import AnswerError, read_temperature, read_yes
from flowlog.calibrating.ask_baseline import ask_baseline
from flowlog.calibrating.ask_capped import ask_capped
from flowlog.calibrating.ask_catch import ask_catch
from flowlog.calibrating.ask_course import ask_course
from flowlog.calibrating.ask_gauge import ask_gauge
from flowlog.calibrating.ask_meter import ask_meter
from flowlog.calibrating.draft import Draft
from flowlog.calibrating.interview import Talk
from flowlog.calibrating.rows import LONGEST_NAME, Noted, clean_text, row_of
from flowlog.calibrating.show import TITLES, result_view
from flowlog.calibrating.words import day, gist
from flowlog.calibrating.work import Work
from flowlog.calibration.apply import Result
from flowlog.calibration.catch import CatchResult
from flowlog.errors import FlowlogError
from flowlog.store.rows import CalibrationRow

STEPS: Final = ("course", "catch", "meter", "gauge", "baseline", "capped")
ASK: Final[dict[str, Callable[[Work], Result]]] = {
    "course": ask_course,
    "catch": ask_catch,
    "meter": ask_meter,
    "gauge": ask_gauge,
    "baseline": ask_baseline,
    "capped": ask_capped,
}
_HEAD: Final = "begin"


def offer_draft(talk: Talk, draft: Draft) -> bool:
    """Ask whether to go on with what was begun; True if so. The draft is empty if not."""
    if draft.damaged:
        talk.say("A draft was there and could not be read; it was set aside.")
    if not len(draft):
        return False
    steps = [step for step in STEPS if draft.keys(step)]
    done = [step for step in steps if f"{step}.keep" in draft]
    begun = [step for step in steps if step not in done]
    said = [f"{', '.join(done)} done"] if done else []
    said += [f"{step} begun" for step in begun]
    talk.say(f"A calibration was begun on {day(draft.began_us)}: {'; '.join(said) or 'no step'}.")
    while True:
        text = talk.line("Go on with it? (yes, no = begin anew) [yes]: ").strip() or "yes"
        try:
            go_on, _ = read_yes(text)
        except AnswerError as fault:
            talk.say(f"  {fault}.")
            continue
        if not go_on:
            draft.delete()
        return go_on


def run_session(
    work: Work, steps: Sequence[str], by: str | None, default_by: str, *, resumed: bool
) -> list[CalibrationRow]:
    """Ask everything; rows to store, or none if the person does not want to.

    Raises:
        Left: the person goes away; the draft keeps what was answered.
        FlowlogError: the draft cannot be written.
    """
    ask = work.interview
    try:
        noted = ask.run(_HEAD, lambda: _head(work, by, default_by, steps), retell=resumed)
        for step in steps:
            _step(work, step, steps, resumed=resumed)
        return _confirm(work, noted)
    finally:
        work.close()


def _head(work: Work, by: str | None, default_by: str, steps: Sequence[str]) -> Noted:
    ask = work.interview
    if len(steps) > 1:
        ask.say("Nothing is stored before the last question.")
        ask.say("?  explains a question    back  asks the one before again")
        ask.say("Ctrl-C  leaves, your answers are kept")
    if by is None:
        by = ask.ask(
            "by",
            "Who calibrates",
            lambda text: (clean_text(text, LONGEST_NAME, "a name"),) * 2,
            default=default_by,
        )
    if set(steps) & {"catch", "meter", "baseline", "capped"}:
        water = ask.ask(
            "water",
            "Water temperature",
            lambda text: (None, "not taken") if text in {"not taken", "none"}
            else read_temperature(text),
            default="not taken",
            hint="Of the water in the tank: '64 F' or '18 C'. It matters when water is weighed.",
        )  # fmt: skip
        work.water_c = water
    return Noted(by=by, water_c=work.water_c)


def _step(work: Work, step: str, steps: Sequence[str], *, resumed: bool) -> None:
    ask = work.interview
    number = list(steps).index(step) + 1
    of = f"Step {number} of {len(steps)}: " if len(steps) > 1 else ""
    title = Text(f"\n{of}{TITLES[step]}", style="bold reverse")
    if resumed and ask.draft.keys(step):
        ask.talk.show(title)
    while True:
        keep = ask.run(step, lambda: _ask_step(work, step, title, len(steps) > 1), retell=resumed)
        if keep != "again":
            return
        ask.draft.drop_step(step)
        resumed = False


def _ask_step(work: Work, step: str, title: Text, several: bool) -> str:
    ask = work.interview
    ask.show(title)
    work.results.pop(step, None)
    if several:
        wanted = ask.ask(
            "do", "Do this step? (yes, no = skip)", read_yes, default="yes", quiet=True
        )
        if not wanted:
            return "no"
    try:
        result = ASK[step](work)
    except FlowlogError as fault:
        ask.say(f"  {fault}.")
        ask.say("  That makes no result: the step begins again.")
        _ = ask.ask("failed", "Enter to begin the step again", lambda text: (text, "again"))
        return "again"
    bars = not (isinstance(result, CatchResult) and result.named())
    ask.show(result_view(result, work.units, bars=bars))
    keep = ask.ask("keep", "Keep this? (yes, again, no)", _read_keep, default="yes",
        quiet=True,
                   hint="'again' repeats the step, 'no' leaves it out.")  # fmt: skip
    if keep == "yes":
        work.results[step] = result
    return keep


def _read_keep(text: str) -> tuple[str, str]:
    word = text.strip().casefold()
    for known in ("yes", "again", "no"):
        if word and known.startswith(word):
            return known, known
    raise AnswerError(f"'{text.strip()[:20]}' is none of: yes, again, no")


def _confirm(work: Work, noted: Noted) -> list[CalibrationRow]:
    ask = work.interview
    if not work.results:
        ask.talk.say("No result was kept: there is nothing to store.")
        ask.draft.delete()
        return []
    ask.talk.show(Text("\nTo be stored", style="bold reverse"))
    for step, result in work.results.items():
        ask.talk.say(f"  {step:<9} {gist(result, work.units)}")
    count = len(work.results)
    what = "this result" if count == 1 else f"these {count} results"
    while True:
        text = ask.talk.line(f"Store {what}, by {noted.by}? (yes, no): ")
        try:
            store, _ = read_yes(text)
        except AnswerError as fault:
            ask.talk.say(f"  {fault}.")
            continue
        if not store:
            ask.talk.say("Nothing was stored. The answers are kept: the same command goes on.")
            return []
        return rows_of(work, noted)


def rows_of(work: Work, noted: Noted) -> list[CalibrationRow]:
    """The session's results as rows; baseline and capped tip name the sensors they rest on."""
    rows: list[CalibrationRow] = []
    sensors = {
        one.row.kind: one.row.uid for one in work.in_use.used if one.row.kind in {"meter", "gauge"}
    }
    for step in STEPS:
        result = work.results.get(step)
        if result is None:
            continue
        own = Noted(noted.by, noted.water_c, noted.note, work.sources.get(step, noted.source))
        row = row_of(result, work.rig, own, sensors.values())
        rows.append(row)
        if step in {"meter", "gauge"}:
            sensors[step] = row.uid
    return rows
