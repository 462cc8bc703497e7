"""The reference firmware, as it is flashed, in an emulated microcontroller on a bench.

`build` makes program and bench. `EmulatedBoard` drives pins, voltages and the serial line of one
board, in its own time: nothing goes on but while `run_to` runs. tests/board/bench.c is the other
half.
"""

from __future__ import annotations

import re
import subprocess
import threading
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

ROOT: Final = Path(__file__).parents[2]
FIRMWARE: Final = ROOT / "firmware-notes" / "board"
BENCH: Final = ROOT / "tests" / "board" / "bench.c"
TOOLS: Final = ("avr-gcc", "avr-nm", "avr-size", "avr-objcopy", "gcc", "make", "pkg-config")

RECORD: Final = np.dtype(
    [("cycle", "u8"), ("kind", "u1"), ("where", "u1"), ("which", "u2"), ("value", "u4")]
)
BYTE_S: Final = 96e-6
"""Between two bytes to the board. 87 us on a wire; the emulated receiver adds a parity bit."""

Pin = tuple[str, int]


@dataclass(frozen=True)
class Program:
    """What was built: the file to flash, and what the bench must know of it."""

    elf: Path
    bench: Path
    chip: str
    hertz: int
    report: str
    """How much memory it takes, as `make` says."""
    symbols: dict[str, int]
    """Addresses in data memory."""

    @property
    def ram_begin(self) -> int:
        return self.symbols["__data_start"]


def build(folder: Path, defines: str = "") -> Program:
    """Build the firmware as the Makefile does, and the bench."""
    made = _run("make", "-C", FIRMWARE, f"BUILD={folder}", f"DEFINES={defines}")
    chip, hertz = _run("make", "-s", "--no-print-directory", "-C", FIRMWARE, "chip").split()
    elf, bench = folder / "flowlog-board.elf", folder / "bench"
    flags = _run("pkg-config", "--cflags", "--libs", "simavr").split()
    _run("gcc", "-O2", "-Wall", "-Wextra", "-Werror", "-o", bench, BENCH, *flags, "-lelf")
    names = re.findall(r"^0080([0-9a-f]{4}) [bBdD] ([a-z_]+)", _run("avr-nm", elf), re.MULTILINE)
    symbols = {name: int(address, 16) for address, name in names}
    return Program(
        elf,
        bench,
        chip,
        int(hertz.rstrip("UL")),
        next(line for line in made.splitlines() if line.startswith("flash ")),
        symbols,
    )


def _run(*words: object) -> str:
    done = subprocess.run(
        [str(word) for word in words], check=False, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "warning" not in done.stderr, done.stderr
    return done.stdout


def pin(name: str) -> Pin:
    """A pin as settings.h has it."""
    found = re.search(
        rf"^#define {name}_PIN ([BCD]), ([0-7])\b", (FIRMWARE / "settings.h").read_text(), re.M
    )
    assert found, name
    return found[1], int(found[2])


@dataclass
class Heard:
    """What came out of the board: bytes with their times, pins with theirs."""

    data: bytearray = field(default_factory=bytearray)
    byte_s: list[float] = field(default_factory=list)
    ports: list[tuple[float, str, int, int]] = field(default_factory=list)
    """Time, port, levels driven, pins driven."""
    watchdog_s: list[float] = field(default_factory=list)
    memory: bytearray = field(default_factory=bytearray)

    def pin(self, which: Pin) -> list[tuple[float, int]]:
        """Changes of an output: time and level, from the moment that it became an output."""
        port, bit = which
        changes: list[tuple[float, int]] = []
        for at, letter, levels, driven in self.ports:
            if letter == port and driven >> bit & 1:
                level = levels >> bit & 1
                if not changes or changes[-1][1] != level:
                    changes.append((at, level))
        return changes


class EmulatedBoard:
    """One board. Its time begins at power on and goes on over resets."""

    def __init__(self, program: Program, millivolts: int = 5000) -> None:
        self.program = program
        self.heard = Heard()
        self._pending: list[NDArray[np.void]] = []
        self._line_free_s = 0.0
        self.now_s = 0.0
        self._bench = subprocess.Popen(
            [program.bench, program.elf, program.chip, str(program.hertz), str(millivolts)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )

    # --- what happens outside, at times in seconds

    def level(self, which: Pin, at_s: ArrayLike, level: ArrayLike) -> None:
        """Put a pin to a level, at one time or at many."""
        self._add(at_s, "p", level, where=which[0], which=which[1])

    def pulses(self, which: Pin, falls_s: ArrayLike, low_s: ArrayLike) -> None:
        """Pulses as an open collector makes them: down at these times, up again `low_s` later."""
        falls = np.atleast_1d(np.asarray(falls_s, dtype=float))
        self.level(which, falls, 0)
        self.level(which, falls + np.asarray(low_s), 1)

    def volts(self, channel: int, at_s: ArrayLike, volts: ArrayLike) -> None:
        """Put an analog input to a voltage."""
        self._add(at_s, "v", np.rint(np.asarray(volts) * 1e3), which=channel)

    def send(self, data: bytes | Iterable[int], at_s: float) -> None:
        """Bytes to the board, one behind the other at the speed of the line."""
        values = np.array(list(data), dtype=float)
        begin = max(at_s, self._line_free_s)
        times = begin + BYTE_S * np.arange(1, len(values) + 1)
        if len(values):
            self._line_free_s = float(times[-1])
        self._add(times, "b", values)

    def reset(self, cause: str, at_s: float, held_s: float = 0.0) -> None:
        """`external`, `brownout` or `power`; it is held for a while before it starts again."""
        letter = {"external": "x", "brownout": "o", "power": "p"}[cause]
        self._add(at_s, "r", round(held_s * self.program.hertz), where=letter)

    def poke(self, symbol: str, value: int, at_s: float) -> None:
        """Overwrite a variable of the running program."""
        self._add(at_s, "k", value, which=self.program.symbols[symbol])

    def disturb(self, register: int, value: int, at_s: float) -> None:
        """A register of the processor takes another value, as a spark may do it."""
        self._add(at_s, "i", value, which=register)

    def jam(self, at_s: float) -> None:
        """The main loop stops for good, as if a cosmic ray had hit it; interrupts go on."""
        self._add(at_s, "j", 0)

    def keep(self, data: bytes, at_s: float = 0.0) -> None:
        """What the EEPROM holds from its first byte on."""
        for address, byte in enumerate(data):
            self._add(at_s, "e", byte, which=address)

    # --- time

    def eeprom(self) -> bytes:
        """What the EEPROM holds now."""
        return self._memory("e")

    def unused_ram(self) -> int:
        """Bytes of RAM that neither variables nor stack have touched since power on."""
        ram = self._memory("r")
        first = self.program.symbols["_end"]
        begin = self.program.ram_begin
        never = [(begin + i) * 37 + 11 & 0xFF == byte for i, byte in enumerate(ram)]
        free = never[first - begin :]
        return free.index(False) if False in free else len(free)

    def run_to(self, until_s: float) -> bytes:
        """Let the board's time go on. The bytes that came out of it meanwhile."""
        self._add(until_s, "g", 0)
        commands = np.concatenate(self._pending)
        until = round(until_s * self.program.hertz)
        order = np.argsort(commands["cycle"], kind="stable")
        commands = commands[order]
        due = commands["cycle"] <= until
        # "Run" stands behind all that happens at the same moment.
        self._pending = [commands[~due]]
        before = len(self.heard.data)
        # Both pipes may fill: one thread writes while this one reads.
        writer = threading.Thread(target=self._tell, args=(commands[due].tobytes(),))
        writer.start()
        self._listen()
        writer.join()
        self.now_s = until_s
        return bytes(self.heard.data[before:])

    def close(self) -> None:
        """End the bench."""
        assert self._bench.stdin is not None
        assert self._bench.stdout is not None
        self._bench.stdin.close()
        self._bench.stdout.close()
        self._bench.wait(10)

    def __enter__(self) -> EmulatedBoard:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _add(
        self, at_s: ArrayLike, kind: str, value: ArrayLike, where: str = "\0", which: int = 0
    ) -> None:
        times, values = np.broadcast_arrays(np.atleast_1d(at_s), np.asarray(value))
        new = np.zeros(len(times), dtype=RECORD)
        new["cycle"] = np.rint(times * self.program.hertz)
        new["kind"], new["where"], new["which"], new["value"] = ord(kind), ord(where), which, values
        self._pending.append(new)

    def _memory(self, which: str) -> bytes:
        self.heard.memory.clear()
        self._add(self.now_s, "d", 0, where=which)
        self.run_to(self.now_s)
        return bytes(self.heard.memory)

    def _tell(self, commands: bytes) -> None:
        out = self._bench.stdin
        assert out is not None
        out.write(commands)
        out.flush()

    def _listen(self) -> None:
        pieces = b""
        source = self._bench.stdout
        assert source is not None
        while True:
            piece = source.read1(1 << 20)
            assert piece, f"the bench ended with {self._bench.wait(10)}"
            pieces += piece
            whole = len(pieces) - len(pieces) % RECORD.itemsize
            if whole and pieces[whole - RECORD.itemsize + 8 : whole - RECORD.itemsize + 9] == b"g":
                break
        events = np.frombuffer(pieces, dtype=RECORD)
        times = events["cycle"] / self.program.hertz
        bytes_ = events["kind"] == ord("s")
        self.heard.data += events["value"][bytes_].astype(np.uint8).tobytes()
        self.heard.byte_s += times[bytes_].tolist()
        for at, event in zip(times[~bytes_].tolist(), events[~bytes_].tolist(), strict=True):
            if event[1] == ord("o"):
                self.heard.ports.append((at, chr(event[2]), event[4], event[3]))
            elif event[1] == ord("w"):
                self.heard.watchdog_s.append(at)
            elif event[1] == ord("d"):
                self.heard.memory.append(event[4])
