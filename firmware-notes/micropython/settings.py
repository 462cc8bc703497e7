"""All that you change: pins, numbers, names. Everything else stays as it is."""

FIRMWARE = "upy-1.0.0"  # at most 16 of A-Z a-z 0-9 . _ -
BOARD = "cart-1"  # the same; tells your boards apart

# Inputs. None for what is not fitted.
METER_PIN = 2  # flow sensor, open collector: pull-up to the board's logic voltage
METER_PULL_UP = True  # the weak one inside; a resistor of 2.2 to 10 kilohm is better
METER_MIN_GAP_US = 200  # edges closer than this are bounce; 200 us lets 5,000 pulses/s pass
GAUGE_PIN = 26  # ADC input
VALVE_PIN = None  # boom valve
VALVE_OPEN_LEVEL = 1
WHEEL_PIN = None  # ground-speed sensor
WHEEL_MIN_GAP_US = 1000

# Outputs. None for what is not fitted.
LAMP_PIN = 14
BUZZER_PIN = 15
OUTPUT_ON_LEVEL = 1

# Pulled to ground while the board starts: it does not start, so that you can change files.
SERVICE_PIN = 22

# The line to the computer: "usb", or a serial port of the chip with its pins.
LINE = "usb"
UART_ID = 0
UART_TX_PIN = 0
UART_RX_PIN = 1
BAUD = 115200

PERIOD_MS = 100
ADC_BITS = 16  # read_u16() scales every ADC to 16 bits
ADC_TIMER = -1  # number of the timer that reads the gauge; -1 is one in software
ADC_HZ = 1000
HARD_INTERRUPTS = True  # False on boards that know soft ones only: see the notes
WATCHDOG_MS = 4000  # None: no watchdog
