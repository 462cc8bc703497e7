"""The checksum that ends each line: CRC-16, polynomial 0x1021, initial 0xFFFF, not reflected.

The catalogue of parametrised CRC algorithms calls it CRC-16/IBM-3740; its check value over
b"123456789" is 0x29B1. `binascii.crc_hqx` is the same register with a free initial value.
"""

from __future__ import annotations

from binascii import crc_hqx
from typing import Final

INITIAL: Final = 0xFFFF


def crc16(data: bytes) -> int:
    """Checksum of `data`, 0..65535."""
    return crc_hqx(data, INITIAL)


def seal(body: bytes) -> bytes:
    """Make a line of `body`: add the star, the checksum in four upper-case hex digits, the LF."""
    return b"%b*%04X\n" % (body, crc_hqx(body, INITIAL))
