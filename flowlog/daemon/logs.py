"""The daemon's log: for a person, one line a happening, quiet when all is well."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Mapping
from typing import Final

REPEAT_S: Final = 600.0
"""A line that says the same again is written once in so long: a flash card wears."""

_PRIORITIES: Final = (
    (logging.CRITICAL, 2),
    (logging.ERROR, 3),
    (logging.WARNING, 4),
    (logging.INFO, 6),
    (logging.DEBUG, 7),
)


class _Formatter(logging.Formatter):
    """`<N>` before the line for the service manager's journal, the time of day for a person."""

    def __init__(self, *, journal: bool) -> None:
        super().__init__("%(message)s" if journal else "%(asctime)s %(message)s", "%H:%M:%S")
        self._journal = journal

    def format(self, record: logging.LogRecord) -> str:
        text = super().format(record)
        if not self._journal:
            return text
        priority = next((p for level, p in _PRIORITIES if record.levelno >= level), 7)
        return "\n".join(f"<{priority}>{line}" for line in text.splitlines())


class RepeatFilter(logging.Filter):
    """Lets a line through so often in `REPEAT_S`, and then says how often it was held back.

    Compared by the text before its arguments are put in, so that a fault whose numbers change
    counts as the same.
    """

    def __init__(self) -> None:
        super().__init__()
        self._seen: dict[tuple[str, int], tuple[float, int, int]] = {}
        """When the first of ten minutes came, how many went through since, and how many did not."""

    def filter(self, record: logging.LogRecord) -> bool:
        most = getattr(record, "most", 0)
        if not most:
            return True
        key = (str(record.msg), record.levelno)
        now = record.relativeCreated / 1000.0
        first, through, held = self._seen.get(key, (float("-inf"), 0, 0))
        if now - first < REPEAT_S:
            passes = through < most
            self._seen[key] = (first, through + passes, held + (not passes))
            return passes
        self._seen[key] = (now, 1, 0)
        if held:
            record.msg = f"{record.msg} ({held} more like this since)"
        return True


def _under_manager(environ: Mapping[str, str]) -> bool:
    """A desktop's shell inherits JOURNAL_STREAM: it counts only if standard error is that one."""
    if "NOTIFY_SOCKET" in environ:
        return True
    try:
        status = os.fstat(sys.stderr.fileno())
    except (OSError, ValueError):
        return False
    return environ.get("JOURNAL_STREAM") == f"{status.st_dev}:{status.st_ino}"


def set_up(verbose: bool, environ: Mapping[str, str] = os.environ) -> None:
    """Send the log to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Formatter(journal=_under_manager(environ)))
    handler.addFilter(RepeatFilter())
    top = logging.getLogger("flowlog")
    top.handlers[:] = [handler]
    top.propagate = False
    top.setLevel(logging.DEBUG if verbose else logging.INFO)
    # The daemon says itself, with its patience, what the port and the broker say at once.
    for chatty in ("flowlog.link", "flowlog.publish"):
        logging.getLogger(chatty).setLevel(logging.DEBUG if verbose else logging.ERROR)


REPEATS: Final = {"most": 1}
"""`log.warning(..., extra=REPEATS)` marks a line that says the same each time."""
BURSTS: Final = {"most": 5}
"""Of one that says something new each time, and may come without end when something is broken: two
restarts of a board are two lines, and a board that restarts every second fills no card."""
