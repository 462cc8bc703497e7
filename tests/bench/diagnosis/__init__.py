"""Measures the monitor's diagnosis on simulated rigs and writes the results as a table.

Run `PYTHONPATH=tests python -m bench.diagnosis [--quick] [--hours N] [--out FILE]`. Needs the
optional dependencies `bench`.

- `scenarios`: the noise, the faults and classes, the work they are set in, the seeds.
- `bounds`: how fast any detector could be.
- `residual`: the signal itself, computed from the samples and not by the monitor.
- `references`: other detectors on the same signal, tuned to the same false-alarm rate.
- `measure`: one job, one simulated route or trial; `work`: many of them, two at a time, kept.
- `report`: from what was measured to tables.
"""
