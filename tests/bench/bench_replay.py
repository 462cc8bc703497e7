"""How fast stored raw blocks run through the whole monitor.

Run `PYTHONPATH=tests python tests/bench/bench_replay.py [hours]`. The stream is written by the
recorder, read back by the archive and fed to the pipeline, as after a restart. The figure of the
machine (a loop of plain additions) stands beside it, so that runs on different machines and under
load can be compared.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from support.storing import RIG_TEXT

from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stream import joined
from flowlog.simulator.plan import Fault
from flowlog.simulator.run import plain_rig, scenario_for, simulate, with_faults
from flowlog.store.archive import Archive
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, StreamMark


def additions_per_s() -> float:
    begun = time.process_time()
    total = 0
    for number in range(3_000_000):
        total += number
    return 3_000_000 / (time.process_time() - begun)


def main(hours: float) -> None:
    rig = plain_rig(tips=8, tank_gal=None)
    clog = Fault("tip blocked", at_s=1800.0 * hours, tip=3)
    run = simulate(with_faults(scenario_for(rig, hours=hours, seed=3), clog))
    with tempfile.TemporaryDirectory() as folder:
        recorder = Recorder.open(Path(folder), rig, RIG_TEXT)
        route = recorder.begin_route(0)
        number, at = 0, 0
        for item in run.items:
            if hasattr(item, "table"):
                recorder.commit(Batch(route.id, first_ordinal=at, samples=item))
                at += len(item)
            else:
                recorder.commit(Batch(route.id, items=[StreamMark(number, at, item)]))
                number += 1
        recorder.seal()
        recorder.close()
        size = sum(path.stat().st_size for path in Path(folder).glob("flowlog.db*"))
        best = 0.0
        for _ in range(5):
            with Archive.open(Path(folder)) as archive:
                begun = time.process_time()
                monitor, readings, events = Monitor(rig), 0, []
                for item in joined(item for _ordinal, item in archive.stream(route.id)):
                    out = monitor.feed(item)
                    readings += len(out.readings)
                    events += out.events
                monitor.finish()
                best = max(best, at / (time.process_time() - begun))
    machine = additions_per_s()
    print(f"{at} samples, {readings} readings, {[e.code for e in events]}, {size} bytes stored")
    print(f"replay from stored blocks: {best:,.0f} samples a second (best of 5, processor time)")
    print(f"this machine: {machine:,.0f} additions a second; {machine / best:.0f} for one sample")


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 2.0)
