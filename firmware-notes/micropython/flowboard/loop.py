"""The board: closes samples in time, says hello, hears the host. Knows no pin.

`hardware` is hardware.py on a board and something pretended in the tests.
"""

import gc

from flowboard.alarm import Alarm
from flowboard.outbox import Outbox
from flowboard.ticks import MASK, Clock, add, diff
from flowboard.wire import Ear, hello_line, sample_line

_HELLO_EVERY_S = 55  # a minute at most, and the clock may be off by a percent
_NO_GAUGE = (0, 1, 0, 0)


class Board:
    def __init__(self, hardware, settings):
        self._hardware = hardware
        self._settings = settings
        self._period_us = settings.PERIOD_MS * 1000
        now = hardware.now()
        self._clock = Clock(now)
        self._due = add(now & MASK, self._period_us)
        self._seq = 0
        self._boot = hardware.boot
        self._channels = hardware.channels
        self._since_hello = 0
        self._hello_due = True
        self.alarm = Alarm()
        self.ear = Ear()
        self.outbox = Outbox()
        # A restart may have cut a line of ours: an LF, or the hello is glued to its rest.
        self.outbox.offer(b"\n")

    def turn(self):
        """Everything that falls due. Call it every few milliseconds; it never waits."""
        hardware = self._hardware
        for command in self.ear.feed(hardware.read()):
            if command == "Q":
                self._hello_due = True
            else:
                self.alarm.ask(command[0], command[1])
        # Counts first and the time after them: no edge is newer than its sample.
        flow = hardware.flow.copy() if hardware.flow is not None else None
        wheel = hardware.wheel.copy() if hardware.wheel is not None else None
        now = hardware.now()
        self.alarm.advance(self._clock.advance(now))
        lamp, buzzer = self.alarm.levels()
        hardware.show(lamp, buzzer)
        late = diff(now & MASK, self._due)
        if late >= 0:
            self._close(late, flow, wheel)
        if self._hello_due:  # behind the sample: its number is that of the next one
            self._say_hello()
        self.outbox.push(hardware.write)
        hardware.feed_watchdog()

    def _say_hello(self):
        settings = self._settings
        line = hello_line(
            self._boot,
            self._seq,
            settings.FIRMWARE,
            settings.BOARD,
            self._hardware.reset,
            settings.PERIOD_MS,
            settings.ADC_BITS,
            self._channels,
        )
        if self.outbox.offer(line):  # else it is tried again with the next turn
            self._hello_due = False
            self._since_hello = 0

    def _close(self, late, flow, wheel):
        """One sample for the periods that are over: the numbers of missed ones are skipped."""
        hardware = self._hardware
        periods = 1 + late // self._period_us
        self._due = add(self._due, periods * self._period_us)
        pulses = edge_us = 0
        if flow is not None:
            hardware.flow.take(flow[0], flow[1], self._clock)
            pulses, edge_us = hardware.flow.total, hardware.flow.edge_us
        turned = None
        if wheel is not None:
            hardware.wheel.take(wheel[0], wheel[1], self._clock)
            turned = (hardware.wheel.total, hardware.wheel.edge_us)
        readings = hardware.take_readings()
        self.outbox.offer(
            sample_line(
                self._boot,
                (self._seq + periods - 1) & 0xFFFFFFFF,
                self._clock.us,
                pulses,
                edge_us,
                _NO_GAUGE if readings is None else readings,
                hardware.valve(),
                turned,
            )
        )
        self._seq = (self._seq + periods) & 0xFFFFFFFF
        self._since_hello += periods * self._period_us
        if self._since_hello >= _HELLO_EVERY_S * 1000000:
            self._hello_due = True
        # Here a collection is short and does no harm; elsewhere it would come when it likes.
        gc.collect()


def run(hardware, settings):
    board = Board(hardware, settings)
    hardware.start()
    while True:
        board.turn()
        hardware.rest()
