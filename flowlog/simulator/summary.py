"""What truly happened, in a few numbers, to hold against what was measured."""

from __future__ import annotations

from typing import Any

import numpy as np

from flowlog.simulator.cable import fates
from flowlog.simulator.run import Simulated


def summary(run: Simulated, until_s: float | None = None) -> dict[str, Any]:
    """Volumes, areas, stops and faults of a run, in SI units, ready for JSON.

    With `until_s` only what had happened by then.
    """
    scenario, truth = run.scenario, run.truth
    width_m = scenario.rig.boom.effective_width_m
    last_s = float(truth.t_s[-1]) if len(truth.t_s) else 0.0
    last_s = last_s if until_s is None else min(last_s, until_s)
    end = int(np.searchsorted(truth.t_s, last_s + 1e-9))
    sent = run.t_s[: int(np.searchsorted(run.t_s, last_s + 1e-9))]
    lost, damaged = (hit[: len(sent)] for hit in fates(scenario, run.t_s, "samples"))
    stops = []
    for name, begin_s, stop_s in scenario.stops():
        if begin_s >= last_s:
            break
        end_s = min(stop_s, last_s)
        part = np.flatnonzero((truth.t_s > begin_s) & (truth.t_s <= end_s + 1e-9))
        stops.append(
            {
                "name": name,
                "begin_s": begin_s,
                "end_s": end_s,
                "spraying_s": round(float(truth.spraying[part].sum()) * truth.step_s, 3),
                "volume_m3": float(truth.flow_m3_s[part].sum()) * truth.step_s,
                "area_m2": float((truth.speed_m_s * truth.spraying)[part].sum())
                * truth.step_s
                * width_m,
            }
        )
    return {
        "scenario": scenario.name,
        "seed": scenario.seed,
        "seconds": round(last_s, 3),
        "spraying_s": round(float(truth.spraying[:end].sum()) * truth.step_s, 3),
        "volume_m3": float(truth.flow_m3_s[:end].sum()) * truth.step_s,
        "area_m2": float((truth.speed_m_s * truth.spraying)[:end].sum()) * truth.step_s * width_m,
        "samples": len(sent),
        "lost": int(lost.sum()),
        "damaged": int(damaged.sum()),
        "stops": stops,
        "faults": [
            {
                "kind": fault.kind,
                "at_s": fault.at_s,
                "until_s": None if np.isinf(fault.until_s) else fault.until_s,
                "tip": fault.tip,
                "size": fault.full_size,
            }
            for fault in scenario.faults
            if fault.at_s < last_s
        ],
        "fills": [
            {"at_s": at_s, "volume_m3": volume} for at_s, volume in truth.fills if at_s <= last_s
        ],
    }
