"""The MicroPython firmware in real time: hardware.py with its USB line on this process's own
standard input and output, real ticks, and pretended pins. For a real MicroPython only.

micropython micropython_live.py FOLDER PULSES_A_SECOND
"""

import sys
import time


class Pretended:
    """A module that this port has not, or not with all that a board has."""


class Pin:
    IN, OUT, PULL_UP, IRQ_FALLING = 1, 2, 3, 4
    handler = None

    def __init__(self, number, mode=None, pull=None):
        pass

    def irq(self, handler, trigger, hard=False):
        Pin.handler = handler

    def value(self, level=None):
        return 1


class ADC:
    def __init__(self, pin):
        pass

    def read_u16(self):
        return 20000 + time.ticks_us() % 100


class Timer:
    PERIODIC = 1
    callback = None

    def __init__(self, number):
        pass

    def init(self, mode, freq, callback):
        Timer.callback = callback


class WDT:
    def __init__(self, timeout):
        pass

    def feed(self):
        pass


def main():
    sys.path.insert(0, sys.argv[1])
    machine = Pretended()
    machine.Pin, machine.ADC, machine.Timer, machine.WDT = Pin, ADC, Timer, WDT
    machine.PWRON_RESET = 1
    machine.reset_cause = lambda: 1
    sys.modules["machine"] = machine
    sys.modules["micropython"] = pretended = Pretended()
    pretended.alloc_emergency_exception_buf = lambda size: None
    pretended.kbd_intr = lambda byte: None

    import settings
    from flowboard import hardware
    from flowboard.loop import Board

    hardware.next_boot = lambda path: 5
    chip = hardware.Hardware(settings)
    board = Board(chip, settings)
    chip.start()
    gap_us = 1000000 // int(sys.argv[2])
    edge = reading = time.ticks_us()
    while True:
        board.turn()
        time.sleep_ms(1)
        # No interrupt can come here; what was due meanwhile is made up for at once.
        now = time.ticks_us()
        if time.ticks_diff(now, edge) >= 0:
            Pin.handler(None)
            edge = time.ticks_add(edge, gap_us)
        while time.ticks_diff(now, reading) >= 0:
            Timer.callback(None)
            reading = time.ticks_add(reading, 1000)


main()
