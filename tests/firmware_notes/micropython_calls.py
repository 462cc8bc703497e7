"""Calls parts of the MicroPython firmware and prints what they give. Runs on both Pythons.

<python or micropython> micropython_calls.py FOLDER < calls.json, a list of [name, arguments];
bytes go in and out as {"hex": "..."}.
"""

import json
import sys


def plain(value):
    if isinstance(value, (bytes, bytearray)):
        return {"hex": "".join(["%02x" % byte for byte in value])}
    if isinstance(value, (tuple, list)):
        return [plain(part) for part in value]
    if isinstance(value, dict):
        return {key: plain(part) for key, part in value.items()}
    return value


def given(value):
    if isinstance(value, dict) and "settings" in value:
        return value["settings"]
    if isinstance(value, dict):
        text = value["hex"]
        return bytes([int(text[i : i + 2], 16) for i in range(0, len(text), 2)])
    if isinstance(value, list):
        return tuple([given(part) for part in value])
    return value


def allocates(name):
    """Whether an interrupt's function asks for memory; only MicroPython can tell."""
    import micropython
    from flowboard.counts import PulseInput, Readings

    pulses = PulseInput(lambda: 7, lambda later, earlier: 1000, 200)
    readings = Readings()
    work, argument = {
        "on_edge": (pulses.on_edge, None),
        "add": (readings.add, 512),
        "control": (lambda x: [x], 1),
    }[name]
    work(argument)
    micropython.heap_lock()
    try:
        for _ in range(10):
            work(argument)
        found = False
    except MemoryError:
        found = True
    micropython.heap_unlock()
    return found


def wear(starts):
    """Last count, and erases of the block erased most, in a littlefs of 64 blocks."""
    import os

    from flowboard.bootcount import next_boot

    class Memory:
        def __init__(self):
            self.data = bytearray(64 * 4096)
            self.erased = [0] * 64

        def readblocks(self, block, into, offset=0):
            begin = block * 4096 + offset
            for i in range(len(into)):
                into[i] = self.data[begin + i]

        def writeblocks(self, block, data, offset=0):
            begin = block * 4096 + offset
            for i in range(len(data)):
                self.data[begin + i] = data[i]

        def ioctl(self, what, block):
            if what == 4:
                return 64
            if what == 5:
                return 4096
            if what == 6:
                self.erased[block] += 1
                return 0
            return 0

    memory = Memory()
    os.VfsLfs2.mkfs(memory)
    last = 0
    for _ in range(starts):
        os.mount(os.VfsLfs2(memory), "/flash")
        last = next_boot("/flash/boot.txt")
        os.umount("/flash")
    return last, max(memory.erased)


def long_run(edges, seconds):
    """(second, clock_us, pulses, edge_us) every 5 s, with edges at the given seconds."""
    from flowboard.counts import PulseInput
    from flowboard.ticks import MASK, Clock, diff

    now = [(1 << 30) - 1000]
    pulses = PulseInput(lambda: now[0], diff, 200)
    clock = Clock(now[0])
    begin, rows = now[0], []
    waiting = list(edges)
    for second in range(0, seconds, 5):
        while waiting and waiting[0] <= second:
            now[0] = (begin + round(waiting.pop(0) * 1e6)) & MASK
            pulses.on_edge(None)
        count, ticks = pulses.copy()
        now[0] = (begin + second * 1000000) & MASK
        clock.advance(now[0])
        pulses.take(count, ticks, clock)
        rows.append((second, clock.us, pulses.total, pulses.edge_us))
    return rows


def main():
    sys.path.insert(0, sys.argv[1])
    from flowboard import bootcount, ticks, wire

    sys.path.append(sys.argv[0].rpartition("/")[0])
    import pretended_chip

    known = {
        "crc": wire.crc,
        "sample_line": wire.sample_line,
        "hello_line": wire.hello_line,
        "command_of": wire.command_of,
        "next_boot": bootcount.next_boot,
        "diff": ticks.diff,
        "allocates": allocates,
        "wear": wear,
        "long_run": long_run,
        "wiring": pretended_chip.wiring,
        "in_service": pretended_chip.in_service,
    }
    calls = json.loads(sys.stdin.read())
    print(json.dumps([plain(known[name](*given(arguments))) for name, arguments in calls]))


main()
