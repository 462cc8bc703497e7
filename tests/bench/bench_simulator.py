"""How many samples a second the simulator makes, for each supply, with and without faults.

Run `python tests/bench/bench_simulator.py [hours]`. The rates are those of the machine.
"""

from __future__ import annotations

import sys
import time

from flowlog.simulator.plan import Fault
from flowlog.simulator.run import plain_rig, scenario_for, simulate
from flowlog.simulator.supply import FAMILIES

FAULTS = {
    "healthy": (),
    "tip blocked": (Fault("tip blocked", 600.0, tip=2),),
    "slow wear": (Fault("tip worn", 0.0, over_s=3e4),),
    "air": (Fault("air", 600.0, size=0.05),),
}


def main() -> None:
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    print(f"{hours:g} h of passes a cell, 8 tips; thousand samples a second")
    print(f"{'':18}" + "".join(f"{name:>13}" for name in FAULTS))
    for family in FAMILIES:
        cells = []
        for faults in FAULTS.values():
            scenario = scenario_for(plain_rig(8), hours=hours, family=family, faults=faults)
            begin = time.perf_counter()
            run = simulate(scenario)
            cells.append(len(run.samples) / (time.perf_counter() - begin) / 1e3)
        print(f"{family:18}" + "".join(f"{rate:13.0f}" for rate in cells))


if __name__ == "__main__":
    main()
