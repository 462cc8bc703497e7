"""Lines as they go out, and what the encoder refuses."""

from __future__ import annotations

from dataclasses import replace

import pytest

from flowlog.wire.commands import CommandDecoder
from flowlog.wire.encode import (
    encode_alarm,
    encode_hello,
    encode_hello_request,
    encode_sample,
)
from flowlog.wire.records import MAX_LINE, U32, Alarm, Hello, HelloRequest

ROW = [3, 1200, 120_000_123, 457, 119_987_654, 51_200, 100, 498, 530, -1, -1, -1]
HELLO = Hello(3, 0, 1, "1.0.2", "board-7", "power", 100, 10, "FP")


def body(line: bytes) -> bytes:
    return line.rpartition(b"*")[0]


def test_fields_that_are_not_fitted_are_left_out_at_the_end():
    assert body(encode_sample(ROW)) == b"S,3,1200,120000123,457,119987654,51200,100,498,530"


def test_a_valve_without_a_wheel_is_the_last_field():
    assert body(encode_sample([*ROW[:9], 1, -1, -1])).endswith(b",530,1")


def test_a_wheel_without_a_valve_leaves_the_valve_empty():
    assert body(encode_sample([*ROW[:9], -1, 7, 8])).endswith(b",530,,7,8")


def test_hello_has_its_fields_in_order():
    assert body(encode_hello(HELLO)) == b"H,3,0,1,1.0.2,board-7,power,100,10,FP"


def test_the_longest_records_fit_a_line():
    widest = [65535, *[U32] * 4, U32, 1, U32, U32, 1, U32, U32]
    assert len(encode_sample(widest)) < MAX_LINE
    longest = Hello(65535, U32, 99, "f" * 16, "b" * 16, "watchdog", 10_000, 24, "ABCDEFGH")
    assert len(encode_hello(longest)) < MAX_LINE


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({0: 65536}, "boot 65536"),
        ({1: -1}, "seq -1"),
        ({3: U32 + 1}, "pulses"),
        ({6: 0}, "adc_n is 0"),
        ({7: 531}, "adc_min 531 is above"),
        ({5: 49_799}, "adc_sum 49799"),
        ({5: 53_001}, "adc_sum 53001"),
        ({9: 2}, "valve 2"),
        ({10: 5}, "together"),
        ({11: 5}, "together"),
        ({10: U32 + 1, 11: 1}, "wheel"),
    ],
)
def test_refuses_a_row_that_no_board_can_send(change: dict[int, int], says: str):
    row = [change.get(i, value) for i, value in enumerate(ROW)]
    with pytest.raises(ValueError, match=says):
        encode_sample(row)


def test_refuses_a_row_of_another_length():
    with pytest.raises(ValueError, match="11 values where a sample has 12"):
        encode_sample(ROW[:11])


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"boot": 70_000}, "boot"),
        ({"protocol": 0}, "protocol"),
        ({"firmware": ""}, "firmware"),
        ({"firmware": "1,0"}, "firmware"),
        ({"board": "b" * 17}, "board"),
        ({"board": "bö"}, "board"),
        ({"reset": "crash"}, "one of power"),
        ({"period_ms": 0}, "period_ms"),
        ({"adc_bits": 25}, "adc_bits"),
        ({"channels": ""}, "channels"),
        ({"channels": "FF"}, "different"),
        ({"channels": "fp"}, "channels"),
    ],
)
def test_refuses_a_hello_outside_the_protocol(change: dict[str, object], says: str):
    with pytest.raises(ValueError, match=says):
        encode_hello(replace(HELLO, **change))


@pytest.mark.parametrize("lamp", range(4))
@pytest.mark.parametrize("buzzer", range(4))
def test_the_board_reads_each_alarm_as_it_was_sent(lamp: int, buzzer: int):
    assert CommandDecoder().feed(encode_alarm(lamp, buzzer)) == [Alarm(lamp, buzzer)]


@pytest.mark.parametrize("pair", [(4, 0), (0, -1)])
def test_refuses_an_alarm_pattern_that_does_not_exist(pair: tuple[int, int]):
    with pytest.raises(ValueError, match="0, 1, 2 or 3"):
        encode_alarm(*pair)


def test_the_board_takes_commands_in_any_pieces_and_ignores_the_rest():
    stream = b"Q*0000\nhello\n\n" + encode_hello_request() + b"A,9,9*F00D\n" + encode_alarm(3, 1)
    whole = CommandDecoder()
    assert whole.feed(stream) == [HelloRequest(), Alarm(3, 1)]
    assert whole.ignored == 3
    single = CommandDecoder()
    assert [c for i in range(len(stream)) for c in single.feed(stream[i : i + 1])] == [
        HelloRequest(),
        Alarm(3, 1),
    ]
    assert single.ignored == 3
