"""What truly happened, in a few numbers, to hold against what was measured."""

from __future__ import annotations

from typing import Any

import numpy as np

from flowlog.simulator.cable import fates
from flowlog.simulator.run import Simulated


def summary(run: Simulated) -> dict[str, Any]:
    """Volumes, areas, stops and faults of a run, in SI units, ready for JSON."""
    scenario, truth = run.scenario, run.truth
    width_m = scenario.rig.boom.effective_width_m
    area = truth.area_m2 * width_m
    lost, damaged = fates(scenario, run.t_s, "samples")
    stops = []
    for name, begin_s, end_s in scenario.stops():
        part = np.flatnonzero((truth.t_s > begin_s) & (truth.t_s <= end_s + truth.step_s))
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
        "seconds": float(truth.t_s[-1]) if len(truth.t_s) else 0.0,
        "spraying_s": round(float(truth.spraying.sum()) * truth.step_s, 3),
        "volume_m3": truth.total_volume_m3,
        "area_m2": float(area[-1]) if len(area) else 0.0,
        "samples": len(run.samples),
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
        ],
        "fills": [{"at_s": at_s, "volume_m3": volume} for at_s, volume in truth.fills],
    }
