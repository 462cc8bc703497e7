"""What a person may write at a prompt."""

from __future__ import annotations

import pytest

from flowlog.calibrating.answers import (
    AnswerError,
    Choice,
    Number,
    Quantity,
    read_temperature,
    read_yes,
)
from flowlog.errors import FlowlogError


def test_a_number_without_a_unit_has_the_unit_written_last() -> None:
    read = Quantity("volume", unit="fl oz")
    first, kept = read("64")
    assert kept == "64 fl oz"
    assert first == pytest.approx(64 * 0.003785411784 / 128)
    assert read("1.9 L") == (pytest.approx(0.0019), "1.9 L")
    assert read("2") == (pytest.approx(0.002), "2 L")


def test_what_is_kept_can_be_read_again_on_its_own() -> None:
    for text in ("64", "1.9 L", "0.5 gal"):
        value, kept = Quantity("volume", unit="fl oz")(text)
        assert Quantity("volume")(kept)[0] == value


def test_a_stopwatch_reading_with_minutes_is_a_time() -> None:
    assert Quantity("time", unit="s")("1:05.3")[0] == pytest.approx(65.3)


@pytest.mark.parametrize("text", ["abc", "-3", "0", "", "12 psi", "1e999", "3 4"])
def test_a_wrong_time_is_refused_with_what_would_be_right(text: str) -> None:
    with pytest.raises(FlowlogError, match=r"30 s|more than zero"):
        Quantity("time", unit="s")(text)


def test_the_example_fits_the_question() -> None:
    with pytest.raises(FlowlogError, match="800 mL"):
        Quantity("volume", example="800 mL")("abc")


def test_a_run_is_weighed_or_caught() -> None:
    read = Quantity("mass", "volume", unit="lb")
    read("41.7")
    assert read.kind == "mass"
    read("5 gal")
    assert read.kind == "volume"
    with pytest.raises(FlowlogError, match="pressure"):
        read("5 psi")


def test_temperatures_in_both_scales() -> None:
    assert read_temperature("18 C")[0] == 18.0
    assert read_temperature("64.4 F")[0] == pytest.approx(18.0)
    assert read_temperature("64.4")[0] == pytest.approx(18.0)
    for wrong in ("abc", "-2 C", "300 F", ""):
        with pytest.raises(AnswerError):
            read_temperature(wrong)


def test_words_by_their_beginning() -> None:
    assert read_yes("Y")[0] is True
    assert Choice(("live", "type"))("l") == ("live", "live")
    for wrong in ("", "maybe"):
        with pytest.raises(AnswerError, match="y or n"):
            read_yes(wrong)
        with pytest.raises(AnswerError, match="live, type"):
            Choice(("live", "type"))(wrong)


def test_numbers_within_bounds() -> None:
    read = Number(1, 5, "a number of flows", whole=True)
    assert read("3")[0] == 3
    for wrong in ("0", "6", "2.5", "x", "-1", ""):
        with pytest.raises(AnswerError):
            read(wrong)
