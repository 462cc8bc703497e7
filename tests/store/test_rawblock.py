"""The codec of raw blocks gives back exactly what went in, and refuses what it did not make."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from support.storing import board_samples

from flowlog.store.rawblock import RawBlockError, decode, encode, encode_plain
from flowlog.store.varint import pack, unpack, unzigzag, zigzag
from flowlog.wire.samples import FIELDS, Samples

INT64 = np.iinfo(np.int64)
ANY = st.integers(min_value=int(INT64.min), max_value=int(INT64.max))
SMALL = st.integers(min_value=-2, max_value=3)
U32 = st.integers(min_value=0, max_value=2**32 - 1)
tables = st.integers(min_value=0, max_value=40).flatmap(
    lambda rows: hnp.arrays(np.int64, (rows, len(FIELDS)), elements=ANY | SMALL | U32)
)


@settings(deadline=None)
@given(tables)
def test_any_table_of_int64_comes_back_unchanged(table: np.ndarray) -> None:
    assert decode(encode(Samples(table))) == Samples(table)


@settings(deadline=None)
@given(tables)
def test_any_table_comes_back_unchanged_from_the_plain_codec(table: np.ndarray) -> None:
    assert decode(encode_plain(Samples(table))) == Samples(table)


@settings(deadline=None)
@given(st.integers(1, 700), st.integers(0, 2000), st.integers(0, 2**31))
def test_samples_as_a_board_sends_them_come_back_unchanged(
    rows: int, noise: int, seed: int
) -> None:
    samples = board_samples(rows, noise=noise, seed=seed)
    assert decode(encode(samples)) == samples
    assert decode(encode_plain(samples)) == samples


def test_the_ends_of_int64_side_by_side_come_back_unchanged() -> None:
    rows = [
        [int(INT64.min)] * 12,
        [int(INT64.max)] * 12,
        [-1] * 12,
        [int(INT64.min)] * 12,
        [0] * 12,
    ]
    assert decode(encode(Samples.of(rows))) == Samples.of(rows)
    assert decode(encode_plain(Samples.of(rows))) == Samples.of(rows)


def test_decoded_samples_may_be_written_to() -> None:
    for blob in (encode(board_samples(3)), encode_plain(board_samples(3))):
        assert decode(blob).table.flags.writeable


def test_a_column_that_does_not_change_costs_a_few_bytes_whatever_the_length() -> None:
    still = np.tile(np.array([3, 0, 0, 77, 55, 60000, 100, 590, 610, 0, -1, -1]), (60_000, 1))
    still[:, 1] = np.arange(60_000)
    still[:, 2] = np.arange(60_000) * 100_000
    assert len(encode(Samples(still))) < 150


def test_a_minute_of_spraying_is_a_tenth_of_its_plain_size_or_less() -> None:
    samples = board_samples(600)
    assert len(encode(samples)) * 10 < samples.table.nbytes


@settings(deadline=None)
@given(st.data())
def test_a_flipped_bit_is_noticed(data: st.DataObject) -> None:
    encoder = data.draw(st.sampled_from([encode, encode_plain]))
    samples = board_samples(20)
    blob = bytearray(encoder(samples))
    at = data.draw(st.integers(0, len(blob) - 1))
    blob[at] ^= 1 << data.draw(st.integers(0, 7))
    with pytest.raises(RawBlockError):
        decode(bytes(blob))


@settings(deadline=None)
@given(st.integers(0, 400))
def test_a_cut_blob_is_noticed(length: int) -> None:
    blob = encode(board_samples(60))
    with pytest.raises(RawBlockError):
        decode(blob[: min(length, len(blob) - 1)])


@settings(deadline=None)
@given(hnp.arrays(np.int64, st.integers(0, 50), elements=ANY | SMALL))
def test_zigzag_and_varint_come_back_unchanged(values: np.ndarray) -> None:
    packed = pack(zigzag(values))
    assert np.array_equal(unzigzag(unpack(packed, len(values))), values)
    with pytest.raises(ValueError, match="varints"):
        unpack(packed, len(values) + 1)


def test_small_numbers_of_either_sign_take_one_byte() -> None:
    assert pack(zigzag(np.array([0, -1, 1, -64, 63]))) == bytes([0, 1, 2, 127, 126])
