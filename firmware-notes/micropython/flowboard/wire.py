"""Lines out and lines in, as the protocol page says."""

_CRC_OF_NIBBLE = (
    0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50A5, 0x60C6, 0x70E7,
    0x8108, 0x9129, 0xA14A, 0xB16B, 0xC18C, 0xD1AD, 0xE1CE, 0xF1EF,
)  # fmt: skip

LONGEST_HEARD = 32


def crc(data):
    """Checksum of bytes: polynomial 0x1021, from 0xFFFF."""
    register = 0xFFFF
    for byte in data:
        register = ((register << 4) & 0xFFFF) ^ _CRC_OF_NIBBLE[(register >> 12) ^ (byte >> 4)]
        register = ((register << 4) & 0xFFFF) ^ _CRC_OF_NIBBLE[(register >> 12) ^ (byte & 15)]
    return register


def seal(text):
    """A whole line as bytes."""
    body = text.encode()
    return body + b"*%04X\n" % crc(body)


def sample_line(boot, seq, clock_us, pulses, edge_us, readings, valve, wheel):
    """A sample. `valve` is 0, 1 or None; `wheel` is (count, edge_us) or None."""
    text = "S,%d,%d,%d,%d,%d,%d,%d,%d,%d" % ((boot, seq, clock_us, pulses, edge_us) + readings)
    if wheel is not None:
        text += ",%s,%d,%d" % (("" if valve is None else valve,) + wheel)
    elif valve is not None:
        text += ",%d" % valve
    return seal(text)


def hello_line(boot, seq, firmware, board, reset, period_ms, adc_bits, channels):
    return seal(
        "H,%d,%d,1,%s,%s,%s,%d,%d,%s"
        % (boot, seq, firmware, board, reset, period_ms, adc_bits, channels)
    )


class Ear:
    """Cuts what is heard into lines and keeps those that are commands; the rest is nothing."""

    def __init__(self):
        self._line = bytearray()
        self._too_long = False

    def feed(self, data):
        """The commands that `data` completes: "Q", or a pair (lamp, buzzer)."""
        found = []
        for byte in data:
            if byte != 10:
                if len(self._line) < LONGEST_HEARD:
                    self._line.append(byte)
                else:
                    self._too_long = True
                continue
            command = None if self._too_long else command_of(bytes(self._line))
            if command is not None:
                found.append(command)
            self._line = bytearray()
            self._too_long = False
        return found


def command_of(line):
    """What one line asks for, without its LF; None if it is damaged, malformed or unknown."""
    if line.endswith(b"\r"):
        line = line[:-1]
    star = line.rfind(b"*")
    if star < 0:
        return None
    body = line[:star]
    if line[star + 1 :] != b"%04X" % crc(body):
        return None
    fields = body.split(b",")
    if fields[0] == b"Q":
        return "Q"
    if fields[0] == b"A" and len(fields) >= 3:
        lamp, buzzer = fields[1], fields[2]
        if lamp in _PATTERNS and buzzer in _PATTERNS:
            return _PATTERNS.index(lamp), _PATTERNS.index(buzzer)
    return None


_PATTERNS = (b"0", b"1", b"2", b"3")
