"""What a sample costs on the disk, how fast it comes back, and what a second of logging writes.

Run `PYTHONPATH=.:tests python tests/bench/bench_store.py [hours]`. The samples are simulated: a
boom of 8 tips in passes, with sensor noise as in the field. Each store keeps the same samples,
once with the three columns that the plainest logger would keep (clock, pulses, ADC sum) and once
with all twelve. A peer that is not installed is named as skipped.
"""

from __future__ import annotations

import csv
import gzip
import io
import re
import shutil
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path

import numpy as np
from support.storing import RIG, RIG_TEXT, reading

from flowlog.simulator.run import plain_rig, scenario_for, simulate
from flowlog.store.rawblock import decode, encode
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch
from flowlog.wire.samples import FIELDS, Samples

PLAIN = ("clock_us", "pulses", "adc_sum")
BLOCK = 6_000


def only(samples: Samples, fields: tuple[str, ...]) -> Samples:
    """The same samples with the other columns at nought, which the blocks keep for nothing."""
    table = np.zeros_like(samples.table)
    for field in fields:
        table[:, FIELDS.index(field)] = samples.column(field)
    return Samples(table)


def in_blocks(samples: Samples, fields: tuple[str, ...], folder: Path) -> int:
    """Sealed blocks of ten minutes in a table: the whole file, without log."""
    kept = only(samples, fields)
    db = sqlite3.connect(folder / "blocks.db")
    db.execute("CREATE TABLE raw_blocks (id INTEGER PRIMARY KEY, route_id, first, count, blob)")
    for at in range(0, len(kept), BLOCK):
        part = kept[at : at + BLOCK]
        row = (1, at, len(part), encode(part))
        db.execute("INSERT INTO raw_blocks (route_id, first, count, blob) VALUES (?,?,?,?)", row)
    db.commit()
    db.close()
    return (folder / "blocks.db").stat().st_size


def payload(samples: Samples, fields: tuple[str, ...], folder: Path) -> int:
    """The blobs alone."""
    kept = only(samples, fields)
    return sum(len(encode(kept[at : at + BLOCK])) for at in range(0, len(kept), BLOCK))


def rows(samples: Samples, fields: tuple[str, ...], folder: Path) -> int:
    """A row a sample in SQLite."""
    db = sqlite3.connect(folder / "rows.db")
    db.execute(f"CREATE TABLE samples (n INTEGER PRIMARY KEY, {', '.join(fields)})")
    marks = ", ".join("?" * len(fields))
    values = np.stack([samples.column(field) for field in fields], axis=1).tolist()
    db.executemany(f"INSERT INTO samples ({', '.join(fields)}) VALUES ({marks})", values)
    db.commit()
    db.close()
    return (folder / "rows.db").stat().st_size


def csv_gz(samples: Samples, fields: tuple[str, ...], folder: Path) -> int:
    """Text, compressed as a whole."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(fields)
    writer.writerows(np.stack([samples.column(field) for field in fields], axis=1).tolist())
    return len(gzip.compress(text.getvalue().encode(), 6))


def influx(samples: Samples, fields: tuple[str, ...], folder: Path) -> int | None:
    """A general time-series store; its data files after it has written its cache out."""
    program = shutil.which("influxd")
    if program is None:
        return None
    with socket.socket() as one, socket.socket() as two:
        one.bind(("127.0.0.1", 0))
        two.bind(("127.0.0.1", 0))
        http, rpc = one.getsockname()[1], two.getsockname()[1]
    home = folder / "influx"
    (folder / "influx.conf").write_text(
        f'reporting-disabled = true\nbind-address = "127.0.0.1:{rpc}"\n'
        f'[meta]\ndir = "{home}/meta"\n'
        f'[data]\ndir = "{home}/data"\nwal-dir = "{home}/wal"\nquery-log-enabled = false\n'
        'cache-snapshot-write-cold-duration = "1s"\n'
        f'[http]\nbind-address = "127.0.0.1:{http}"\nlog-enabled = false\n'
        "[monitor]\nstore-enabled = false\n"
    )
    server = subprocess.Popen(
        [program, "-config", str(folder / "influx.conf")],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _post(http, "query?q=CREATE+DATABASE+b", b"", tries=100)
        columns = [samples.column(field).tolist() for field in fields]
        lines = [
            "s " + ",".join(f"{f}={v}i" for f, v in zip(fields, row, strict=True)) + f" {n}00000000"
            for n, row in enumerate(zip(*columns, strict=True))
        ]
        for at in range(0, len(lines), 5000):
            _post(http, "write?db=b", "\n".join(lines[at : at + 5000]).encode())
        settled = 0.0
        for _ in range(60):  # until the cache has become files and the log is empty
            time.sleep(0.5)
            files = list((home / "data" / "b").rglob("*.tsm"))
            waiting = sum(f.stat().st_size for f in (home / "wal").rglob("*.wal"))
            settled = settled + 1 if files and not waiting else 0
            if settled > 4:
                break
        return sum(f.stat().st_size for f in files)
    finally:
        server.terminate()
        server.wait()


def _post(port: int, path: str, body: bytes, tries: int = 1) -> None:
    for left in reversed(range(tries)):
        try:
            request = urllib.request.Request(f"http://127.0.0.1:{port}/{path}", body, method="POST")
            urllib.request.urlopen(request).close()
        except urllib.error.HTTPError as fault:
            raise RuntimeError(fault.read().decode()) from fault
        except OSError:
            if not left:
                raise
            time.sleep(0.1)
        else:
            return


STORES: dict[str, Callable[[Samples, tuple[str, ...], Path], int | None]] = {
    "blocks of ten minutes, blobs alone": payload,
    "blocks of ten minutes, in SQLite": in_blocks,
    "SQLite, a row a sample": rows,
    "csv.gz": csv_gz,
    "general time-series store": influx,
}


def sizes(samples: Samples) -> None:
    print(f"{'bytes per sample':36}{'3 columns':>12}{'12 columns':>12}")
    for name, store in STORES.items():
        found = []
        for fields in (PLAIN, FIELDS):
            with tempfile.TemporaryDirectory() as folder:
                size = store(samples, fields, Path(folder))
            found.append("skipped" if size is None else f"{size / len(samples):.2f}")
        print(f"{name:36}{found[0]:>12}{found[1]:>12}")


def by_column(samples: Samples) -> None:
    nothing = payload(samples, (), Path())
    costs = {f: (payload(samples, (f,), Path()) - nothing) / len(samples) for f in FIELDS}
    print("alone:", ", ".join(f"{field} {cost:.2f}" for field, cost in costs.items()))


def speed(samples: Samples) -> None:
    blocks = [samples[at : at + BLOCK] for at in range(0, len(samples), BLOCK)]
    began = time.perf_counter()
    blobs = [encode(block) for block in blocks]
    packed = time.perf_counter()
    back = [decode(blob) for blob in blobs]
    read = time.perf_counter()
    assert Samples.join(back) == samples
    print(
        f"pack {len(samples) / (packed - began):,.0f} samples/s "
        f"({(packed - began) / len(blocks) * 1e3:.1f} ms a block), "
        f"unpack {len(samples) / (read - packed):,.0f} samples/s"
    )


def written() -> int:
    """Bytes that this process has handed to write calls (Linux)."""
    found = re.search(r"wchar: (\d+)", Path("/proc/self/io").read_text())
    return int(found[1]) if found else 0


def logging(samples: Samples) -> None:
    """The whole recorder, a commit a second, as fast as it goes."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        recorder = Recorder.open(folder, RIG, RIG_TEXT)
        route = recorder.begin_route(1)
        seconds = min(3600, len(samples) // 10)
        times = []
        before, cpu = written(), time.process_time()
        for second in range(seconds):
            part = samples[second * 10 : second * 10 + 10]
            batch = Batch(route.id, second * 10, part, readings=[(reading(second), second)])
            began = time.perf_counter()
            recorder.commit(batch)
            times.append(time.perf_counter() - began)
        cpu = time.process_time() - cpu
        volume = (written() - before) / seconds
        recorder.end_route(route.id, 2)
        recorder.seal()
        recorder.close()
        size = (folder / "flowlog.db").stat().st_size
    times.sort()
    print(
        f"{seconds} commits of a second: median {times[seconds // 2] * 1e3:.2f} ms, "
        f"longest {times[-1] * 1e3:.1f} ms, {cpu / seconds * 1e3:.2f} ms of processor each; "
        f"{volume / 1024:.1f} KiB written a second ({volume * 36_000 / 2**20:.0f} MiB in 10 h); "
        f"database {size / seconds:.0f} bytes a second, readings and raw samples together"
    )


def main(hours: float = 1.0) -> None:
    samples = simulate(scenario_for(plain_rig(tips=8), hours=hours, seed=3)).samples
    print(f"{len(samples)} samples")
    sizes(samples)
    by_column(samples)
    speed(samples)
    logging(samples)


if __name__ == "__main__":
    main(*(float(arg) for arg in sys.argv[1:]))
