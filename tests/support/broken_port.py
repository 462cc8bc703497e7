"""A simulated board with one thing wrong, on a pseudo-terminal, as a process of its own.

python broken_port.py LINK WHAT: speaks in real time until it is ended. WHAT is a name of `WIRES`,
`restarts` (a start 6 s after the port is opened), or `silent`.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from support import broken_firmware as broken

from flowlog.link.terminal import Terminal
from flowlog.simulator.live import LiveBoard
from flowlog.simulator.opened import OpenWatch
from flowlog.simulator.run import plain_rig, scenario_for

WIRES = {
    "right": None,
    "restarts": None,
    "crlf": broken.lines(lambda line: line[:-1] + b"\r\n"),
    "lower case": broken.checksum(lambda body: broken.crc_from(0xFFFF)(body).lower()),
    "edge": broken.fields("S", broken.put(4, lambda _: 0)),
    "silent": lambda _t, _data: b"",
}


def main(link: str, what: str) -> None:
    wire = WIRES[what]
    board = LiveBoard(scenario_for(plain_rig(), hours=0.2, seed=2))
    with Terminal(link) as port:
        watch = OpenWatch(port.path)
        opened = None
        print("ready", flush=True)
        began = time.monotonic()
        while True:
            now = time.monotonic()
            if opened is None and watch.opened():
                opened = now
            if what == "restarts" and opened is not None and now - opened > 6.0:
                board.reset("external")
                opened = float("inf")
            board.hear(port.read())
            data = board.due(now - began)
            data = data if wire is None else wire(now - began, data)
            if data:
                port.write(data)
            time.sleep(0.01)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
