"""Asking: one question after another, each wrong answer remarked on and asked again.

Steps are written as straight code. Every answer goes into the draft under a key; a step that is
run again gets its answers from there until it comes to the first question that has none. So going
on after a break, and going back by one question, are both the step run again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol, TypeVar

from rich.console import RenderableType

from flowlog.calibrating.draft import Draft
from flowlog.errors import FlowlogError
from flowlog.units import Units

T = TypeVar("T")
Read = Callable[[str], tuple[T, str]]
Doubt = Callable[[T], str | None]

BACK = frozenset({"back", "b", "<"})
HELP = frozenset({"?", "help"})


class Left(Exception):  # noqa: N818 - not an error: the person goes away for a while
    """The person leaves; the draft keeps what was answered."""


class Back(Exception):  # noqa: N818 - not an error
    """The person wants the question before."""


class Talk(Protocol):
    """A person at a terminal, or a script in their place."""

    def say(self, text: str) -> None:
        """Words; wrapped to the screen."""

    def show(self, shown: RenderableType) -> None:
        """A table or picture."""

    def line(self, prompt: str) -> str:
        """Ask and wait for a line. Raises Left when the person leaves."""

    def progress(self, text: str) -> None:
        """One line that the next call overwrites; an empty text ends it."""

    def pressed(self) -> bool:
        """Whether Enter was pressed since the last call, without waiting."""


def _ended(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."


class Interview:
    """One session's questions. See the module."""

    def __init__(self, talk: Talk, draft: Draft, units: Units) -> None:
        self.talk = talk
        self.draft = draft
        self.units = units
        self.step = ""
        self._waiting: list[str | RenderableType] = []
        self._retelling = False
        self._told: set[str] = set()

    def run(self, step: str, work: Callable[[], T], *, retell: bool = False) -> T:
        """Run a step to its end, going back whenever the person wants to.

        Args:
            retell: say what the draft holds already, when going on after a break.
        """
        self.step, self._retelling = step, retell
        while True:
            self._waiting.clear()
            try:
                result = work()
            except Back:
                keys = self.draft.keys(step)
                if not keys:
                    self.talk.say("  This is the first question of the step.")
                else:
                    self.draft.drop(keys[-1])
                self._retelling = False
                continue
            self._flush()
            return result

    def say(self, text: str = "") -> None:
        """Words before the next question; not said again for one that is answered already."""
        self._waiting.append(text)

    def show(self, shown: RenderableType) -> None:
        self._waiting.append(shown)

    def ask(
        self,
        key: str,
        prompt: str,
        read: Read[T],
        *,
        doubt: Doubt[T] | None = None,
        default: str | None = None,
        hint: str = "",
        quiet: bool = False,
    ) -> T:
        """The answer to one question.

        Args:
            key: names the answer within the step.
            prompt: without the colon.
            read: text to value; raises a FlowlogError with a plain remark.
            doubt: why a value is probably a slip, or None. The same answer again is taken.
            default: what Enter alone means; shown in brackets.
            hint: said on "?".
            quiet: leave it out where the answers are told again.
        """
        full = f"{self.step}.{key}"
        if full in self.draft:
            kept = str(self.draft.get(full))
            value, _ = read(kept)
            self._answered("" if quiet else prompt, kept)
            return value
        self._flush()
        shown = f"{prompt} [{default}]: " if default else f"{prompt}: "
        doubted: str | None = None
        while True:
            text = self.talk.line(shown).strip()
            word = text.casefold()
            if word in BACK:
                raise Back
            if word in HELP:
                self.talk.say(f"  {hint or prompt}")
                self.talk.say("  'back' asks the question before again; Ctrl-C leaves, the answers "
                              "are kept.")  # fmt: skip
                continue
            if not text and default is not None:
                text = default
            try:
                value, kept = read(text)
            except FlowlogError as fault:
                self.talk.say(f"  {_ended(str(fault))}")
                continue
            reason = doubt(value) if doubt is not None and kept != doubted else None
            if reason is not None:
                self.talk.say(f"  {kept}: {_ended(reason)}")
                self.talk.say("  Write it once more if it is right, or what it should be.")
                doubted = kept
                continue
            self.draft.put(full, kept)
            return value

    def measure(
        self, key: str, prompt: str, work: Callable[[], dict[str, Any]], tell: Callable[..., str]
    ) -> dict[str, Any]:
        """What was measured, once the person is ready; tried again as often as they want.

        Args:
            prompt: what Enter begins.
            work: measures; raises a FlowlogError with a plain remark.
            tell: what was measured, in words.
        """
        full = f"{self.step}.{key}"
        if full in self.draft:
            found: dict[str, Any] = self.draft.get(full)
            self._answered(prompt, tell(found))
            return found
        self._flush()
        while True:
            word = self.talk.line(f"{prompt} ").strip().casefold()
            if word in BACK:
                raise Back
            if word:
                self.talk.say("  Press Enter alone to begin, or write 'back'.")
                continue
            try:
                found = work()
            except FlowlogError as fault:
                self.talk.progress("")
                self.talk.say(f"  {_ended(str(fault))}")
                continue
            self.talk.progress("")
            self.talk.say(f"  {tell(found)}")
            self.draft.put(full, found)
            return found

    def forget(self, key: str) -> None:
        """Drop an answer of this step and those after it: it is to be asked again."""
        self.draft.drop(f"{self.step}.{key}")

    def _answered(self, prompt: str, kept: str) -> None:
        self._waiting.clear()
        line = f"  {prompt}: {kept}"
        if self._retelling and prompt and line not in self._told:
            self._told.add(line)
            self.talk.say(line)

    def _flush(self) -> None:
        for one in self._waiting:
            if isinstance(one, str):
                self.talk.say(one)
            else:
                self.talk.show(one)
        self._waiting.clear()
