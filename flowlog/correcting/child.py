"""A route derived anew in a process of its own, for a server that must stay small.

It runs below other work, keeps what comes out beside the store, and tells how far it is.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from flowlog.errors import FlowlogError

_STEP: Final = 0.01


@dataclass(frozen=True, slots=True)
class Work:
    """How far it is. Neither `done` nor `failed`: under way."""

    share: float = 0.0
    done: bool = False
    failed: str = ""


class Deriving:
    """The routes of one folder that are derived anew, one at a time. For several threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._number: int | None = None
        self._work = Work()
        self._process: subprocess.Popen[str] | None = None

    def start(self, number: int) -> Work | None:
        """Begin with a route, or look how far it is; None while another one is under way."""
        with self._lock:
            if self._process is not None:
                return self._work if self._number == number else None
            words = [sys.executable, "-m", "flowlog.correcting.child", str(self._folder)]
            try:
                process = subprocess.Popen(
                    [*words, str(number)],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.PIPE,
                    text=True,
                )
            except OSError as error:
                self._number, self._work = number, Work(failed=f"{error.strerror}")
                return self._work
            self._number, self._work, self._process = number, Work(), process
        threading.Thread(target=self._follow, args=(process,), daemon=True).start()
        return self._work

    def look(self, number: int) -> Work | None:
        """How far the route is; None if it was not begun, or another one since."""
        with self._lock:
            return self._work if self._number == number else None

    def close(self) -> None:
        """End what is under way."""
        with self._lock:
            process = self._process
        if process is not None:
            process.terminate()

    def _follow(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        assert process.stderr is not None
        for line in process.stdout:
            with contextlib.suppress(ValueError), self._lock:
                self._work = Work(share=float(line))
        said = process.stderr.read().strip().rpartition("\n")[2]
        process.stdout.close()
        process.stderr.close()
        code = process.wait()
        with self._lock:
            self._process = None
            if code == 0:
                self._work = Work(1.0, done=True)
            else:
                # Of a fault that is ours only that there was one: no path, no traceback.
                told = said if code == 2 else "something went wrong"
                self._work = Work(self._work.share, failed=told)


def main() -> int:
    """Derive one route; its progress goes to standard output, a line each."""
    parser = argparse.ArgumentParser(prog="flowlog.correcting.child")
    parser.add_argument("folder", type=Path)
    parser.add_argument("number", type=int)
    wanted = parser.parse_args()
    os.nice(10)
    from flowlog.review.load import load_numbered, load_route
    from flowlog.store.archive import Archive

    told = 0.0

    def progress(share: float) -> None:
        nonlocal told
        if share >= told + _STEP:
            told = share
            sys.stdout.write(f"{share:.3f}\n")
            sys.stdout.flush()

    try:
        with Archive.open(wanted.folder) as archive:
            review = load_route(archive, str(wanted.number), progress)
            kept = load_numbered(archive, review.number, review.route, derive=False)
    except FlowlogError:
        sys.stderr.write("the store cannot be read\n")
        return 2
    if review.underived:
        sys.stderr.write(f"{review.underived}\n")
        return 2
    if kept.underived:
        sys.stderr.write("what comes out cannot be kept in the data folder\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
