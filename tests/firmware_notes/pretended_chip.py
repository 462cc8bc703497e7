"""Modules of a board that the host has not, pretended, so that hardware.py itself runs.

Time goes on by 1 ms with each rest; the meter's pin has an edge every 7 ms, the wheel's every 40.
"""

import sys


class Chip:
    """What was done to the pretended chip, and the time there."""

    def __init__(self):
        self.us = 0
        self.pins = {}
        self.irqs = {}
        self.timer = None
        self.timer_call = None
        self.watchdog_ms = None
        self.fed = 0
        self.said = b""
        self.interrupt_character = 3
        self.baud = None
        self.levels = {}

    def rest(self, ms):
        for _ in range(ms):
            self.us += 1000
            if self.timer_call:
                self.timer_call(None)
            for number, every in ((2, 7), (6, 40)):
                if number in self.irqs and (self.us // 1000) % every == 0:
                    self.irqs[number]["handler"](None)


chip = Chip()


class Module:
    pass


def pretend(settings, service_level=1):
    """Put the pretended modules in the place of those that are not there."""
    chip.__init__()

    class Pin:
        IN, OUT, PULL_UP, IRQ_FALLING, IRQ_RISING = 1, 2, 3, 4, 8

        def __init__(self, number, mode=None, pull=None):
            self.number = number
            self.pull = pull
            chip.pins[number] = self

        def irq(self, handler, trigger, hard=False):
            chip.irqs[self.number] = {"handler": handler, "trigger": trigger, "hard": hard}

        def value(self, level=None):
            if level is None:
                return service_level
            chip.levels[str(self.number)] = level
            return None

    class ADC:
        def __init__(self, pin):
            pass

        def read_u16(self):
            return 20000 + chip.us // 1000 % 100

    class Timer:
        PERIODIC = 1

        def __init__(self, number):
            pass

        def init(self, mode, freq, callback):
            chip.timer = {"mode": "periodic" if mode == 1 else mode, "freq": freq}
            chip.timer_call = callback

    class WDT:
        def __init__(self, timeout):
            chip.watchdog_ms = timeout

        def feed(self):
            chip.fed += 1

    class UART:
        def __init__(self, number, baudrate, **_options):
            chip.baud = baudrate

        def read(self):
            return None

        def write(self, data):
            part = bytes(data[:10])
            chip.said += part
            return len(part)

    machine = Module()
    machine.Pin, machine.ADC, machine.Timer, machine.WDT, machine.UART = Pin, ADC, Timer, WDT, UART
    machine.WDT_RESET, machine.PWRON_RESET, machine.SOFT_RESET = 3, 1, 5
    machine.reset_cause = lambda: 3

    micropython = Module()
    micropython.alloc_emergency_exception_buf = lambda size: None
    micropython.kbd_intr = lambda byte: setattr(chip, "interrupt_character", byte)

    time = Module()
    time.ticks_us = lambda: chip.us & 0x3FFFFFFF
    time.ticks_diff = lambda a, b: ((a - b + 0x20000000) & 0x3FFFFFFF) - 0x20000000
    time.sleep_ms = chip.rest

    class Stream:
        def write(self, data):
            part = bytes(data)
            chip.said += part
            return len(part)

    system = Module()
    system.stdout, system.stdin = Module(), Module()
    system.stdout.buffer = Stream()
    system.stdin.buffer = Stream()

    class Poll:
        def register(self, stream, events):
            self.ready = stream is system.stdout

        def poll(self, timeout):
            return [1] if self.ready else []

    select = Module()
    select.POLLIN, select.POLLOUT, select.poll = 1, 4, Poll
    pretended = [("machine", machine), ("micropython", micropython), ("time", time)]
    pretended += [("sys", system), ("select", select)]
    for name, module in pretended:
        sys.modules[name] = module
    import settings as chosen

    for name, value in settings.items():
        setattr(chosen, name, value)
    return chosen


def wiring(changed):
    """Run the board for a second as main.py does; what was done to the chip."""
    real = {name: sys.modules.get(name) for name in ("micropython", "time", "sys", "select")}
    chosen = pretend(changed)
    try:
        from flowboard import hardware
        from flowboard.loop import Board

        hardware.next_boot = lambda path: 9
        board_hardware = hardware.Hardware(chosen)
        board = Board(board_hardware, chosen)
        board_hardware.start()
        for _ in range(1050):
            board.turn()
            board_hardware.rest()
    finally:
        for name, module in real.items():
            if module is not None:
                sys.modules[name] = module
    return {
        "channels": board_hardware.channels,
        "reset": board_hardware.reset,
        "meter": _pin(chosen.METER_PIN),
        "wheel": _pin(chosen.WHEEL_PIN) if chosen.WHEEL_PIN is not None else None,
        "timer": chip.timer,
        "watchdog_ms": chip.watchdog_ms,
        "fed": chip.fed,
        "outputs": chip.levels,
        "interrupt_character": chip.interrupt_character,
        "baud": chip.baud,
        "said": chip.said,
    }


def _pin(number):
    irq = chip.irqs[number]
    return {
        "number": number,
        "pull_up": chip.pins[number].pull == 3,
        "trigger": "falling" if irq["trigger"] == 4 else irq["trigger"],
        "hard": irq["hard"],
    }


def in_service(level):
    real = {name: sys.modules.get(name) for name in ("micropython", "time", "sys", "select")}
    chosen = pretend({}, level)
    try:
        from flowboard import hardware

        # Each call of it has a chip of its own.
        hardware.machine, hardware.time = sys.modules["machine"], sys.modules["time"]
        return hardware.in_service(chosen)
    finally:
        for name, module in real.items():
            if module is not None:
                sys.modules[name] = module
