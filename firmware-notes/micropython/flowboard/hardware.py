"""The only file that touches the chip: pins, timer, ADC, serial line, watchdog, reset cause."""

import sys
import time

import machine
import micropython

from flowboard.bootcount import next_boot
from flowboard.counts import PulseInput, Readings

_PIECE = 64  # bytes that a USB line takes at once


def in_service(settings):
    """Whether the service pin is pulled to ground."""
    if settings.SERVICE_PIN is None:
        return False
    pin = machine.Pin(settings.SERVICE_PIN, machine.Pin.IN, machine.Pin.PULL_UP)
    time.sleep_ms(2)  # a pull-up needs a moment to lift the wire
    return pin.value() == 0


class Hardware:
    def __init__(self, settings):
        # What an interrupt raises can be told only if there is room for it beforehand.
        micropython.alloc_emergency_exception_buf(100)
        self._settings = settings
        self.reset = _reset_cause()
        self.boot = next_boot("boot.txt")
        self.flow = _pulse_input(settings.METER_PIN, settings.METER_MIN_GAP_US)
        self.wheel = _pulse_input(settings.WHEEL_PIN, settings.WHEEL_MIN_GAP_US)
        fitted = (settings.METER_PIN, settings.GAUGE_PIN, settings.VALVE_PIN, settings.WHEEL_PIN)
        self.channels = "".join(c for c, pin in zip("FPVW", fitted) if pin is not None)
        self._valve = _pin(settings.VALVE_PIN, machine.Pin.IN)
        self._lamp = _pin(settings.LAMP_PIN, machine.Pin.OUT)
        self._buzzer = _pin(settings.BUZZER_PIN, machine.Pin.OUT)
        self.show(False, False)
        self._line = _Usb() if settings.LINE == "usb" else _Uart(settings)
        self.read = self._line.read
        self.write = self._line.write
        self._readings = Readings()
        self._adc = None
        if settings.GAUGE_PIN is not None:
            self._adc = machine.ADC(machine.Pin(settings.GAUGE_PIN))
        self._timer = None
        self._watchdog = None

    def start(self):
        """Let the interrupts come."""
        settings = self._settings
        self._listen(self.flow, settings.METER_PIN, settings.METER_PULL_UP)
        self._listen(self.wheel, settings.WHEEL_PIN, True)
        if self._adc is not None:
            self._timer = machine.Timer(settings.ADC_TIMER)
            mode = machine.Timer.PERIODIC
            self._timer.init(mode=mode, freq=settings.ADC_HZ, callback=self._read_gauge)
        if settings.WATCHDOG_MS is not None:
            self._watchdog = machine.WDT(timeout=settings.WATCHDOG_MS)

    def now(self):
        return time.ticks_us()

    def rest(self):
        time.sleep_ms(1)

    def valve(self):
        if self._valve is None:
            return None
        return 1 if self._valve.value() == self._settings.VALVE_OPEN_LEVEL else 0

    def show(self, lamp, buzzer):
        for pin, on in ((self._lamp, lamp), (self._buzzer, buzzer)):
            if pin is not None:
                level = self._settings.OUTPUT_ON_LEVEL
                pin.value(level if on else 1 - level)

    def take_readings(self):
        if self._adc is None:
            return None
        taken = self._readings.take()
        if taken[1]:
            return taken
        value = self._adc.read_u16()  # the timer was late: one reading is better than none
        return value, 1, value, value

    def feed_watchdog(self):
        if self._watchdog is not None:
            self._watchdog.feed()

    def _read_gauge(self, _timer):
        self._readings.add(self._adc.read_u16())

    def _listen(self, counted, number, pull_up):
        if counted is None:
            return
        pin = machine.Pin(number, machine.Pin.IN, machine.Pin.PULL_UP if pull_up else None)
        # One edge: the falling one, which an open collector makes itself and so makes steep.
        options = {"handler": counted.on_edge, "trigger": machine.Pin.IRQ_FALLING}
        if self._settings.HARD_INTERRUPTS:
            options["hard"] = True
        pin.irq(**options)


def _pin(number, mode):
    return None if number is None else machine.Pin(number, mode)


def _pulse_input(number, min_gap_us):
    if number is None:
        return None
    return PulseInput(time.ticks_us, time.ticks_diff, min_gap_us)


def _reset_cause():
    """Not every chip has every cause, and some tell none apart."""
    told = machine.reset_cause()
    for name, cause in (
        ("WDT_RESET", "watchdog"),
        ("SOFT_RESET", "software"),
        ("HARD_RESET", "external"),
        ("PWRON_RESET", "power"),
    ):
        if getattr(machine, name, None) == told:
            return cause
    return "unknown"


class _Uart:
    def __init__(self, settings):
        self._port = machine.UART(
            settings.UART_ID,
            baudrate=settings.BAUD,
            tx=machine.Pin(settings.UART_TX_PIN),
            rx=machine.Pin(settings.UART_RX_PIN),
            rxbuf=256,
            txbuf=512,
            timeout=0,
        )

    def read(self):
        return self._port.read() or b""

    def write(self, data):
        return self._port.write(data)


class _Usb:
    """The USB line that the console uses otherwise. It must not be one: no Ctrl-C, no prompt."""

    def __init__(self):
        import select

        micropython.kbd_intr(-1)
        self._out_ready = select.poll()
        self._out_ready.register(sys.stdout, select.POLLOUT)
        self._in_ready = select.poll()
        self._in_ready.register(sys.stdin, select.POLLIN)

    def read(self):
        data = b""
        while len(data) < _PIECE and self._in_ready.poll(0):
            data += sys.stdin.buffer.read(1)
        return data

    def write(self, data):
        if not self._out_ready.poll(0):
            return 0
        return sys.stdout.buffer.write(data[:_PIECE])
