"""A pretended board under the MicroPython firmware, in pretended time. Runs on both Pythons.

<python or micropython> micropython_bench.py FOLDER < job.json

The job: seconds, start_ticks, hz (pulses a second), wheel_hz, valve, gauge, boot, reset, host
([[second, hex], ...]), stalls ([[from, to], ...] of the main loop), deaf ([[from, to], ...] of the
line), bounce (edges 50 us behind each). Prints `microsecond hex` for each piece that comes out,
then `end {json}` with what was truly there.
"""

import json
import sys

MASK = (1 << 30) - 1


def diff(later, earlier):
    return ((later - earlier + (1 << 29)) & MASK) - (1 << 29)


class Settings:
    FIRMWARE = "upy-1.0.0"
    BOARD = "bench-1"
    PERIOD_MS = 100
    ADC_BITS = 16


class Pulses:
    """Edges at a steady rate that is in step with nothing."""

    def __init__(self, hertz, counted):
        self.gap_us = 1e6 / hertz if hertz else 0.0
        self.next_us = 0.4 * self.gap_us + 1234.0 if hertz else 1e18
        self.counted = counted
        self.number = 0
        self.last_us = 0


class Bench:
    """The hardware that the loop sees."""

    def __init__(self, job, counts):
        self.us = 0.0
        self.job = job
        self.start = job.get("start_ticks", 0)
        self.boot = job.get("boot", 3)
        self.reset = job.get("reset", "power")
        self.flow = self._input(counts, job.get("hz"), 200)
        self.wheel = self._input(counts, job.get("wheel_hz"), 1000)
        self.sources = [
            Pulses(job[name], counted)
            for name, counted in (("hz", self.flow), ("wheel_hz", self.wheel))
            if counted is not None
        ]
        self.readings = counts.Readings()
        self.next_reading_us = 500.0
        self.random = 12345
        self.shown = []
        self.host = [(second, bytes_of(text)) for second, text in job.get("host", [])]
        channels = [("F", self.flow is not None), ("P", job.get("gauge", True))]
        channels += [("V", "valve" in job), ("W", self.wheel is not None)]
        self.channels = "".join([letter for letter, there in channels if there])

    def _input(self, counts, hertz, gap_us):
        return None if hertz is None else counts.PulseInput(self.now, diff, gap_us)

    def now(self):
        return (self.start + int(self.us)) & MASK

    def _draw(self, below):
        self.random = (self.random * 1103515245 + 12345) & 0x7FFFFFFF
        return (self.random >> 8) % below

    def rest(self):
        """Time goes on by a turn of the loop; interrupts come when they are due."""
        end = self.us + 300 + self._draw(700)
        for begin, until in self.job.get("stalls", []):
            if begin * 1e6 <= self.us < until * 1e6:
                end = until * 1e6
        while True:
            due = min([source.next_us for source in self.sources] + [self.next_reading_us])
            if due > end:
                break
            self.us = max(self.us, due)
            for source in self.sources:
                if source.next_us == due:
                    self._edge(source)
            if self.next_reading_us == due:
                self.readings.add(20000 + self._draw(400))
                self.next_reading_us += 1000.0
        self.us = end

    def _edge(self, source):
        source.counted.on_edge(None)
        source.number += 1
        source.last_us = int(self.us)
        source.next_us += source.gap_us
        if self.job.get("bounce"):
            for _ in range(3):
                self.us += 50
                source.counted.on_edge(None)

    def valve(self):
        return self.job.get("valve")

    def show(self, lamp, buzzer):
        state = [bool(lamp), bool(buzzer)]
        if not self.shown or self.shown[-1][1] != state:
            self.shown.append([int(self.us), state])

    def take_readings(self):
        return self.readings.take() if self.job.get("gauge", True) else None

    def feed_watchdog(self):
        pass

    def read(self):
        data = b""
        while self.host and self.host[0][0] * 1e6 <= self.us:
            data += self.host.pop(0)[1]
        return data

    def write(self, data):
        for begin, until in self.job.get("deaf", []):
            if begin * 1e6 <= self.us < until * 1e6:
                return None
        part = bytes(data[:64])
        print("%d %s" % (int(self.us), hex_of(part)))
        return len(part)


def bytes_of(text):
    return bytes([int(text[i : i + 2], 16) for i in range(0, len(text), 2)])


def hex_of(data):
    return "".join(["%02x" % byte for byte in data])


def main():
    sys.path.insert(0, sys.argv[1])
    from flowboard import counts
    from flowboard.loop import Board

    job = json.loads(sys.stdin.read())
    bench = Bench(job, counts)
    board = Board(bench, Settings)
    while bench.us < job["seconds"] * 1e6:
        board.turn()
        bench.rest()
    truth = {
        "shown": bench.shown,
        "dropped": board.outbox.dropped,
        "edges": [[source.number, source.last_us] for source in bench.sources],
        "version": sys.version,
    }
    print("end " + json.dumps(truth))


main()
