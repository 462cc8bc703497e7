"""The demonstration's processes: started, looked after, and always ended."""

from __future__ import annotations

import contextlib
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Final

from flowlog.errors import FlowlogError

_END_S: Final = 5.0
"""What the daemon promises to need for its end, at most."""


class ChildError(FlowlogError):
    """A process of the demonstration failed."""


@dataclass(slots=True)
class Child:
    """One running flowlog command, its output in a file."""

    name: str
    process: subprocess.Popen[bytes]
    log: Path

    def ended(self) -> bool:
        return self.process.poll() is not None

    def complaint(self) -> str:
        """What its log says last, in one line."""
        try:
            lines = self.log.read_text(encoding="utf-8", errors="replace").split("\n")
        except OSError:
            lines = []
        last = next((line.strip() for line in reversed(lines) if line.strip()), "it said nothing")
        return f"{self.name} ended with {self.process.returncode}: {last} (see {self.log})"


class Children:
    """Several of them; leaving the `with` ends all that still run, whatever happened."""

    def __init__(self) -> None:
        self._children: list[Child] = []

    def __enter__(self) -> Children:
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _where: TracebackType | None,
    ) -> None:
        self.end()

    def start(self, name: str, arguments: Sequence[str | Path], log: Path) -> Child:
        """Start `flowlog` with these arguments."""
        words = [sys.executable, "-m", "flowlog", *(str(argument) for argument in arguments)]
        try:
            with log.open("wb") as out:
                process = subprocess.Popen(
                    words,
                    stdin=subprocess.DEVNULL,
                    stdout=out,
                    stderr=subprocess.STDOUT,
                    # Ctrl-C reaches only us; we end the others in our order.
                    start_new_session=True,
                )
        except OSError as error:
            raise ChildError(f"{name} cannot be started: {error}") from error
        child = Child(name, process, log)
        self._children.append(child)
        return child

    def check(self) -> None:
        """
        Raises:
            ChildError: one of them ended with a fault.
        """
        for child in self._children:
            if child.ended() and child.process.returncode != 0:
                raise ChildError(child.complaint())

    def wait(self, child: Child, seconds: float) -> None:
        """
        Raises:
            ChildError: it ended with a fault, or did not end in time.
        """
        end_s = time.monotonic() + seconds
        while not child.ended():
            self.check()
            if time.monotonic() > end_s:
                raise ChildError(f"{child.name} did not end within {seconds:.0f} s")
            time.sleep(0.05)
        self.check()

    def end(self) -> None:
        """Ask all that still run to end, newest first; after five seconds they are killed."""
        running = [child for child in reversed(self._children) if not child.ended()]
        for child in running:
            with contextlib.suppress(OSError):
                child.process.terminate()
        end_s = time.monotonic() + _END_S
        for child in running:
            try:
                child.process.wait(max(0.0, end_s - time.monotonic()))
            except subprocess.TimeoutExpired:
                child.process.kill()
                child.process.wait()
