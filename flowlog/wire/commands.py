"""The board's side of the protocol: what the host asks for. Used by the emulated board."""

from __future__ import annotations

import re
from typing import Final

from flowlog.wire.crc import seal
from flowlog.wire.lines import LineSplitter
from flowlog.wire.records import Alarm, HelloRequest

_ALARM: Final = re.compile(rb"A,([0-3]),([0-3])(?:,.*)?")
_REQUEST: Final = re.compile(rb"Q(?:,.*)?")


class CommandDecoder:
    """Takes the host's bytes in pieces of any size; a line that is not right is counted only."""

    def __init__(self) -> None:
        self._lines = LineSplitter()
        self.ignored = 0
        """Lines that were damaged, malformed or of an unknown type."""

    def feed(self, data: bytes) -> list[Alarm | HelloRequest]:
        """The commands that `data` completes, in order."""
        commands: list[Alarm | HelloRequest] = []
        for line in self._lines.feed(data):
            command = _command(line.removesuffix(b"\r"))
            if command is not None:
                commands.append(command)
            elif line.strip():
                self.ignored += 1
        return commands


def _command(line: bytes) -> Alarm | HelloRequest | None:
    body, star, _ = line.rpartition(b"*")
    if not star or seal(body) != line + b"\n":
        return None
    if _REQUEST.fullmatch(body):
        return HelloRequest()
    found = _ALARM.fullmatch(body)
    return Alarm(int(found[1]), int(found[2])) if found else None
