"""A process that commits one second after the other and says so after each answer.

    python store_writer.py FOLDER SECONDS

Writes `ready`, then one line `ack N` for each second that the store has answered, each with a
single write(2) to standard output, so that a trace of system calls shows it in its place.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from support.storing import RIG, RIG_TEXT, second_batch

from flowlog.store.recorder import Recorder


def main(folder: str, seconds: str) -> None:
    recorder = Recorder.open(Path(folder), RIG, RIG_TEXT, wall_us=1)
    run = recorder.begin_run("boot", 5, 6)
    route = recorder.begin_route(10_000_000, uid="r1")
    os.write(1, b"ready\n")
    for second in range(int(seconds)):
        recorder.commit(second_batch(route.id, second, run))
        os.write(1, b"ack %d\n" % second)
    os._exit(0)  # as if the key had been turned: no clean closing


if __name__ == "__main__":
    main(*sys.argv[1:])
