"""How fast lines are decoded and samples unwrapped, beside a plain decoder in the same run.

Run `python tests/bench/bench_wire.py [samples]`. Compare the ratios, not the rates: the rates
are those of the machine.
"""

from __future__ import annotations

import sys
import time
from binascii import crc_hqx
from collections.abc import Callable

import numpy as np

from flowlog.wire.decode import Decoder
from flowlog.wire.encode import encode_sample
from flowlog.wire.samples import Samples
from flowlog.wire.unwrap import Unwrapper

PERIOD_US = 100_000


def recording(count: int, wheel: bool) -> Samples:
    """Steady spraying: five pulses a sample, clock and counts wrapping as they do."""
    k = np.arange(count, dtype=np.int64)
    t = k * PERIOD_US
    same = np.ones_like(k)
    columns = [3 * same, k, t, 5 * k, t - 17_000, 51_200 * same, 100 * same, 490 * same, 530 * same]
    columns += [same, 2 * k, t - 30_000] if wheel else [same, -same, -same]
    table = np.stack(columns, axis=1)
    for column in (2, 3, 4, *((10, 11) if wheel else ())):
        table[:, column] %= 1 << 32
    return Samples(table)


def plain_decoder(data: bytes) -> list[list[float]]:
    """What one writes first: text, split, float, and no check of anything but the checksum."""
    rows = []
    for line in data.decode("ascii", "replace").splitlines():
        body, _, crc = line.partition("*")
        try:
            if crc_hqx(body.encode(), 0xFFFF) != int(crc, 16):
                continue
            fields = body.split(",")
            if fields[0] == "S":
                rows.append([float(field) for field in fields[1:]])
        except ValueError:
            continue
    return rows


def rate(work: Callable[[], int], repeat: int = 3) -> float:
    """Best of a few runs, items a second."""
    best = 0.0
    for _ in range(repeat):
        begin = time.perf_counter()
        count = work()
        best = max(best, count / (time.perf_counter() - begin))
    return best


def decode(data: bytes, chunk: int) -> int:
    decoder = Decoder()
    for i in range(0, len(data), chunk):
        decoder.feed(data[i : i + chunk])
    return decoder.counts.samples


def unwrap(samples: Samples, block: int) -> int:
    unwrapper = Unwrapper(PERIOD_US, 5_000)
    for i in range(0, len(samples), block):
        unwrapper.feed(samples[i : i + block])
    return unwrapper.released


def main(count: int) -> None:
    samples = recording(count, wheel=False)
    lines = b"".join(map(encode_sample, samples.table[: min(count, 200_000)].tolist()))
    plain = rate(lambda: len(plain_decoder(lines)))
    print(f"{'plain float decoder':42} {plain / 1e3:9.0f} k lines/s   1.00")
    for chunk in (100, 4_096, 65_536, 1 << 22):
        found = rate(lambda chunk=chunk: decode(lines, chunk))
        print(f"decode, pieces of {chunk:<24} {found / 1e3:9.0f} k lines/s {found / plain:6.2f}")
    garbage = b"\xf0" * 4_000_000
    found = rate(lambda: (Decoder().feed(garbage), len(garbage))[1])
    print(f"{'decode 4 MB without a line end':42} {found / 1e6:9.0f} MB/s")
    hurt = bytearray(lines)
    hurt[40::500] = b"?" * len(hurt[40::500])
    found = rate(lambda: (decode(bytes(hurt), 65_536), lines.count(b"\n"))[1])
    print(
        f"{'decode, one line in six damaged':42} {found / 1e3:9.0f} k lines/s {found / plain:6.2f}"
    )
    for wheel in (False, True):
        samples = recording(count, wheel)
        one = rate(lambda samples=samples: unwrap(samples[:20_000], 1))
        for block in (1, 10, 1_000, 100_000):
            part = samples if block > 10 else samples[:50_000]
            found = rate(lambda part=part, block=block: unwrap(part, block))
            name = f"unwrap{' with wheel' * wheel}, blocks of {block}"
            print(f"{name:42} {found / 1e3:9.0f} k samples/s {found / one:6.2f}")
    table = samples.table.copy()
    table[::50, 3] ^= 1 << 30
    found = rate(lambda: (unwrap(Samples(table), 100_000), len(table))[1])
    print(f"{'unwrap, one sample in 50 damaged':42} {found / 1e3:9.0f} k samples/s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
