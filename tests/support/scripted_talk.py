"""A person with a list of answers, for guided sessions in tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from rich.console import Console, RenderableType

from flowlog.calibrating.interview import Left

Answer = str | Callable[[], str]


class ScriptedTalk:
    """Gives its answers in order, then leaves. `said` holds the screen's text."""

    def __init__(self, answers: Iterable[Answer]) -> None:
        self.answers = list(answers)
        self.screen: list[str] = []
        self._console = Console(width=80)

    def say(self, text: str) -> None:
        self.screen.append(text)

    def show(self, shown: RenderableType) -> None:
        with self._console.capture() as captured:
            self._console.print(shown)
        self.screen.append(captured.get())

    def line(self, prompt: str) -> str:
        if not self.answers:
            raise Left
        answer = self.answers.pop(0)
        text = answer if isinstance(answer, str) else answer()
        self.screen.append(f"{prompt}{text}")
        return text

    def progress(self, text: str) -> None:
        """Nobody looks."""

    def pressed(self) -> bool:
        return False

    @property
    def text(self) -> str:
        return "\n".join(self.screen)

    def after(self, answer: str) -> str:
        """What was said directly after an answer was given, up to the next question."""
        index = max(i for i, line in enumerate(self.screen) if line.endswith(f": {answer}"))
        said = []
        for line in self.screen[index + 1 :]:
            if ": " in line and not line.startswith("  "):
                break
            said.append(line)
        return "\n".join(said)
