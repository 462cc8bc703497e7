"""A board on a bench: a hand sets flow and pressure, and it sends what its sensors would see.

Far simpler than the simulator, and steered while it runs, as a person at the valve does it. Its
time goes `speed` times as fast as the clock.
"""

from __future__ import annotations

import threading
import time
from pathlib import Path

from flowlog.link.terminal import Terminal
from flowlog.wire.encode import encode_hello, encode_sample
from flowlog.wire.records import Hello

PERIOD_US = 100_000


class BenchBoard:
    """Counts and codes of a given true meter and gauge; `set` is the hand at the valve."""

    def __init__(
        self,
        link: Path,
        *,
        pulses_per_m3: float = 450e3,
        zero_share: float = 0.1,
        span_share: float = 0.9,
        span_pa: float = 1e6,
        speed: float = 20.0,
    ) -> None:
        self.terminal = Terminal(link)
        self.speed = speed
        self.volume_m3 = 0.0
        """Truly passed since the start."""
        self._factor = pulses_per_m3
        self._zero, self._gain = zero_share, (span_share - zero_share) / span_pa
        self._flow = self._pressure = 0.0
        self._turned = 0.0
        self._lock = threading.Lock()
        self._halt = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def set(self, flow_m3_s: float, pressure_pa: float) -> None:
        with self._lock:
            self._flow, self._pressure = flow_m3_s, pressure_pa

    def close(self) -> None:
        self._halt.set()
        self._thread.join(5)
        self.terminal.close()

    def _run(self) -> None:
        seq, edge_us = 0, 0
        began = time.monotonic()
        while not self._halt.wait(0.02):
            if self.terminal.read():
                self._hello(seq)
            due = int((time.monotonic() - began) * self.speed * 1e6 / PERIOD_US)
            while seq < due:
                with self._lock:
                    flow, pressure = self._flow, self._pressure
                t_us = (seq + 1) * PERIOD_US
                before = int(self._turned)
                self._turned += flow * self._factor * PERIOD_US * 1e-6
                self.volume_m3 += flow * PERIOD_US * 1e-6
                if int(self._turned) > before:
                    late = (self._turned - int(self._turned)) / (flow * self._factor)
                    edge_us = int(t_us - 1e6 * late)
                code = (self._zero + pressure * self._gain) * 1024
                low = int(code)
                self.terminal.write(
                    encode_sample(
                        [1, seq, t_us, int(self._turned), edge_us, round(code * 100), 100,
                         low, low + 1, -1, -1, -1]
                    )
                )  # fmt: skip
                seq += 1

    def _hello(self, seq: int) -> None:
        hello = Hello(1, seq, 1, "bench-1", "bench", "power", 100, 10, "FP")
        self.terminal.write(encode_hello(hello))
