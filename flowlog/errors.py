"""The errors that end a command with one plain line instead of a traceback."""

from __future__ import annotations


class FlowlogError(Exception):
    """A fact, its place and what would be right, in words for the person at the keyboard.

    Everything that a user can cause (a bad file, a port that is not there, a database that is
    locked) is raised as a subclass of this one. `flowlog.cli` prints it as one line and exits
    with 2; anything else that escapes is a bug of ours and keeps its traceback.
    """
