"""A disk that loses its power: replays a writer's traced system calls up to any point.

The model is harsher than most disks. What was written to a file before its last fsync is there.
Of each write after that, every 512-byte sector is there or is not, as chance has it, and so is a
change of length. A file that was made or deleted since the folder's last fsync may be there or
not as well.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SECTOR = 512
CALLS = "openat,pwrite64,write,ftruncate,fsync,fdatasync,unlink,unlinkat,rename,close"
"""What strace must record, with `-f -y -xx -s 1000000`."""

_LINE = re.compile(r"^(?:\[pid\s+\d+\]\s+|\d+\s+)?(\w+)\((.*)\)\s+= (-?\d+)")
_FD = re.compile(r"^(\d+)<([^>]*)>")


@dataclass(frozen=True)
class Write:
    name: str
    at: int
    data: bytes


@dataclass(frozen=True)
class Truncate:
    name: str
    size: int


@dataclass(frozen=True)
class Sync:
    name: str
    """Empty for the folder itself."""


@dataclass(frozen=True)
class Create:
    name: str


@dataclass(frozen=True)
class Unlink:
    name: str


@dataclass(frozen=True)
class Ack:
    number: int


Step = Write | Truncate | Sync | Create | Unlink | Ack


def steps_of(trace: Path, folder: Path) -> list[Step]:
    """The steps of a trace that touch the store's database and log, and the acknowledgements."""
    wanted = {"flowlog.db", "flowlog.db-wal"}
    known: set[str] = set()
    steps: list[Step] = []
    for call, args, result in _calls(trace):
        if result < 0:
            continue
        name = _name(call, args, folder)
        if call == "write" and args.startswith("1<"):
            said = _bytes(args)
            if said.startswith(b"ack "):
                steps.append(Ack(int(said[4:])))
        elif name == "" and call in {"fsync", "fdatasync"}:
            steps.append(Sync(""))
        elif name in wanted:
            if call == "openat" and "O_CREAT" in args and name not in known:
                known.add(name)
                steps.append(Create(name))
            elif call == "pwrite64":
                data = _bytes(args)
                assert result == len(data), "a short write, or a trace that was cut"
                steps.append(Write(name, int(args.rsplit(", ", 1)[1]), data))
            elif call == "write":
                raise AssertionError(f"a write without a place in {name}")
            elif call == "ftruncate":
                steps.append(Truncate(name, int(args.rsplit(", ", 1)[1])))
            elif call in {"fsync", "fdatasync"}:
                steps.append(Sync(name))
            elif call in {"unlink", "unlinkat"}:
                known.discard(name)
                steps.append(Unlink(name))
            elif call == "rename":
                raise AssertionError(f"a renaming of {name} is not modelled")
    return steps


def _calls(trace: Path) -> Iterator[tuple[str, str, int]]:
    with trace.open(encoding="ascii") as lines:
        for line in lines:
            assert "unfinished" not in line, "two threads at once are not modelled"
            found = _LINE.match(line)
            if found:
                yield found[1], found[2], int(found[3])


def _name(call: str, args: str, folder: Path) -> str | None:
    """Name within the folder, "" for the folder, None for anything else."""
    if call in {"openat", "unlink", "unlinkat", "rename"}:
        text = _bytes(args).decode("utf-8", "replace")
    else:
        found = _FD.match(args)
        if found is None:
            return None
        text = _unescape(found[2]).decode("utf-8", "replace")
    path = Path(text)
    if path == folder:
        return ""
    return path.name if path.parent == folder else None


def _bytes(args: str) -> bytes:
    return _unescape(args.split('"')[1])


def _unescape(text: str) -> bytes:
    if "\\x" not in text:
        return text.encode()
    return bytes.fromhex(text.replace("\\x", ""))


@dataclass
class _File:
    synced: bytearray = field(default_factory=bytearray)
    later: list[Write | Truncate] = field(default_factory=list)


class Disk:
    """What is on the disk after some steps, and what might be if the power failed now."""

    def __init__(self) -> None:
        self._files: dict[str, _File] = {}
        self._in_folder: dict[str, _File] = {}
        self.acked = -1

    def do(self, step: Step) -> None:
        if isinstance(step, Ack):
            self.acked = step.number
        elif isinstance(step, Create):
            self._files[step.name] = _File()
        elif isinstance(step, Unlink):
            del self._files[step.name]
        elif isinstance(step, Sync) and not step.name:
            self._in_folder = dict(self._files)
        elif isinstance(step, Sync):
            file = self._files[step.name]
            for change in file.later:
                _apply(file.synced, change)
            file.later.clear()
            # Syncing a new file makes its name durable too on the journalling file systems in use.
            self._in_folder[step.name] = file
        else:
            self._files[step.name].later.append(step)

    def cut(self, rng: random.Random, folder: Path) -> None:
        """Write into `folder` what one cut of power might have left."""
        for name in self._files.keys() | self._in_folder.keys():
            durable, now = self._in_folder.get(name), self._files.get(name)
            file = durable if durable is now or rng.random() < 0.5 else now
            if file is None:
                continue
            left = bytearray(file.synced)
            share = rng.choice((0.0, 0.3, 0.7, 1.0))
            for change in file.later:
                _tear(left, change, share, rng)
            (folder / name).write_bytes(left)


def _apply(content: bytearray, change: Write | Truncate) -> None:
    if isinstance(change, Truncate):
        if len(content) > change.size:
            del content[change.size :]
        else:
            content.extend(bytes(change.size - len(content)))
        return
    if len(content) < change.at:
        content.extend(bytes(change.at - len(content)))
    content[change.at : change.at + len(change.data)] = change.data


def _tear(content: bytearray, change: Write | Truncate, share: float, rng: random.Random) -> None:
    if isinstance(change, Truncate):
        if rng.random() < share:
            _apply(content, change)
        return
    at, end = change.at, change.at + len(change.data)
    while at < end:
        border = min(end, (at // SECTOR + 1) * SECTOR)
        if rng.random() < share:
            part = change.data[at - change.at : border - change.at]
            _apply(content, Write(change.name, at, part))
        at = border
