"""The checksum against its published check value and against a bit-by-bit register."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from flowlog.wire.crc import crc16, seal


def register(data: bytes) -> int:
    """CRC as a shift register, one bit at a time: polynomial 0x1021, initial 0xFFFF."""
    value = 0xFFFF
    for byte in data:
        for bit in range(7, -1, -1):
            carry = (value >> 15) ^ (byte >> bit & 1)
            value = (value << 1 & 0xFFFF) ^ (0x1021 if carry else 0)
    return value


def test_check_value():
    # Check value of CRC-16/IBM-3740 (from memory of the catalogue of parametrised CRC algorithms).
    assert crc16(b"123456789") == 0x29B1
    assert crc16(b"") == 0xFFFF


@given(st.binary(max_size=200))
def test_equals_the_shift_register(data: bytes):
    assert crc16(data) == register(data)


def test_a_sealed_line_ends_with_star_four_upper_case_digits_and_lf():
    assert seal(b"123456789") == b"123456789*29B1\n"


@given(st.binary(min_size=1, max_size=150), st.data())
def test_any_single_or_double_bit_error_changes_it(data: bytes, draw: st.DataObject):
    bits = draw.draw(st.sets(st.integers(0, len(data) * 8 - 1), min_size=1, max_size=2))
    damaged = bytearray(data)
    for bit in bits:
        damaged[bit // 8] ^= 1 << bit % 8
    assert crc16(bytes(damaged)) != crc16(data)
