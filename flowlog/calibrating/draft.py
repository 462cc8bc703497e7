"""What was answered so far, on disk after every answer, so that the work can go on later."""

from __future__ import annotations

import contextlib
import json
import os
import time
from pathlib import Path
from typing import Any, Final

from flowlog.errors import FlowlogError

FILE: Final = "calibration-draft.json"
_VERSION: Final = 1


class DraftError(FlowlogError):
    """The draft cannot be written."""


class Draft:
    """Answers by key, in the order in which they were given.

    An answer is kept as the text that was written, or as what was measured. Keys begin with the
    step that they belong to: `course.length`, `catch.tip 3`.
    """

    def __init__(self, folder: Path, answers: dict[str, Any] | None = None, began_us: int = 0):
        self.path = folder / FILE
        self._answers: dict[str, Any] = answers or {}
        self.began_us = began_us or time.time_ns() // 1000
        self.damaged = False

    @classmethod
    def open(cls, folder: Path) -> Draft:
        """The draft in a rig's data folder, or an empty one. A damaged one is set aside."""
        path = folder / FILE
        try:
            data = json.loads(path.read_text("utf-8"))
            answers = {str(key): value for key, value in data[f"answers {_VERSION}"]}
            return cls(folder, answers, int(data["began_us"]))
        except FileNotFoundError:
            return cls(folder)
        except (OSError, ValueError, KeyError, TypeError):
            draft = cls(folder)
            draft.damaged = True
            with contextlib.suppress(OSError):
                path.replace(path.with_suffix(".damaged"))
            return draft

    def __contains__(self, key: str) -> bool:
        return key in self._answers

    def __len__(self) -> int:
        return len(self._answers)

    def get(self, key: str) -> Any:
        return self._answers[key]

    def keys(self, step: str = "") -> list[str]:
        """Keys of one step, or all, in order."""
        return [key for key in self._answers if not step or key.startswith(f"{step}.")]

    def put(self, key: str, value: Any) -> None:
        """Keep an answer; it is on the disk when this returns.

        Raises:
            DraftError: it cannot be written.
        """
        self._answers[key] = value
        self._save()

    def drop(self, key: str) -> None:
        """Forget an answer and all of its step that came after it."""
        step = key.partition(".")[0]
        keys = self.keys(step)
        for later in keys[keys.index(key) :]:
            del self._answers[later]
        self._save()

    def drop_step(self, step: str) -> None:
        """Forget all of a step."""
        for key in self.keys(step):
            del self._answers[key]
        self._save()

    def delete(self) -> None:
        """There is nothing to go on with any more."""
        self._answers.clear()
        with contextlib.suppress(OSError):
            self.path.unlink(missing_ok=True)

    def _save(self) -> None:
        data = {
            "began_us": self.began_us, f"answers {_VERSION}": list(self._answers.items())
        }  # fmt: skip
        part = self.path.with_suffix(".part")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with part.open("w", encoding="utf-8") as out:
                json.dump(data, out, ensure_ascii=False)
                out.flush()
                os.fsync(out.fileno())
            part.replace(self.path)
        except OSError as error:
            raise DraftError(f"{self.path}: cannot be written: {error.strerror}") from error
