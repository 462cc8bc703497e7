"""Many jobs on two processes, each result kept in a file so that a run can be resumed."""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from bench.diagnosis.measure import Job

import flowlog

_ON_WHAT = ("monitor", "rig", "wire", "units", "simulator", "physics")


def digest() -> str:
    """A name for the code that is measured and that measures."""
    root, here = Path(flowlog.__file__).parent, Path(__file__).parent
    found = [p for part in _ON_WHAT for p in (root / part).rglob("*.py")]
    found += [here / "scenarios.py", here / "measure.py"]
    found += [here / "residual.py", here / "references.py"]
    sums = hashlib.sha256()
    for path in sorted({p for p in found if p.is_file()}):
        sums.update(str(path.name).encode() + path.read_bytes())
    return sums.hexdigest()[:12]


class Bench:
    """Runs jobs and remembers their results by job and by code."""

    def __init__(self, folder: Path, processes: int = 2) -> None:
        self.digest = digest()
        self._file = folder / f"{self.digest}.jsonl"
        self._file.parent.mkdir(parents=True, exist_ok=True)
        self._processes = processes
        self._kept: dict[str, Any] = {}
        if self._file.exists():
            for line in self._file.read_text().splitlines():
                key, _, value = line.partition("\t")
                if value.endswith("}"):
                    self._kept[key] = json.loads(value)

    def results(
        self, what: str, jobs: Sequence[Job], run: Callable[[Job], dict[str, Any]]
    ) -> list[dict[str, Any]]:
        """The result of each job, in the order of the jobs."""
        keys = [json.dumps(job) for job in jobs]
        missing = [job for job, key in zip(jobs, keys, strict=True) if key not in self._kept]
        begun = time.monotonic()
        if missing:
            with (
                self._file.open("a") as file,
                multiprocessing.get_context("fork").Pool(
                    self._processes, initializer=os.nice, initargs=(10,)
                ) as pool,
            ):
                work = pool.imap(run, missing)
                for job, found in zip(missing, work, strict=True):
                    key = json.dumps(job)
                    self._kept[key] = json.loads(json.dumps(found))
                    file.write(f"{key}\t{json.dumps(found)}\n")
                    file.flush()
        took = time.monotonic() - begun
        print(f"{what}: {len(jobs)} jobs, {len(missing)} new, {took:.0f} s", file=sys.stderr)
        return [self._kept[key] for key in keys]
