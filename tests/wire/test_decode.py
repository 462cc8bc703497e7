"""The decoder: what comes out, what is counted, and that neither pieces nor garbage hurt it."""

from __future__ import annotations

import tracemalloc
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.wire.crc import seal
from flowlog.wire.decode import Decoded, Decoder, Fault
from flowlog.wire.encode import encode_hello, encode_sample
from flowlog.wire.records import MAX_LINE, RESET_CAUSES, U32, Hello
from flowlog.wire.samples import FIELDS, Samples

ROW = [3, 1200, 120_000_123, 457, 119_987_654, 51_200, 100, 498, 530, -1, -1, -1]
HELLO = Hello(3, 0, 1, "1.0.2", "board-7", "power", 100, 10, "FP")

u32 = st.integers(0, U32)


@st.composite
def rows(draw: st.DrawFn) -> list[int]:
    low, high = sorted((draw(st.integers(0, 65_535)), draw(st.integers(0, 65_535))))
    n = draw(st.integers(1, 65_536))
    row = [draw(st.integers(0, 65_535)), *(draw(u32) for _ in range(4))]
    row += [draw(st.integers(n * low, min(n * high, U32))), n, low, high]
    wheel = [draw(u32), draw(u32)] if draw(st.booleans()) else [-1, -1]
    return [*row, draw(st.sampled_from([-1, 0, 1])), *wheel]


names = st.text("AZaz09._-", min_size=1, max_size=16)
hellos = st.builds(
    Hello,
    boot=st.integers(0, 65_535),
    seq=u32,
    protocol=st.integers(1, 99),
    firmware=names,
    board=names,
    reset=st.sampled_from(RESET_CAUSES),
    period_ms=st.integers(1, 10_000),
    adc_bits=st.integers(1, 24),
    channels=st.sampled_from(["F", "FP", "FPV", "FPVW", "FPT"]),
)
good_lines = st.one_of(rows().map(encode_sample), hellos.map(encode_hello))
noise = st.one_of(
    st.binary(max_size=60),
    st.binary(max_size=60).map(lambda b: b + b"\n"),
    st.sampled_from([b"\n", b"\r\n", b"*\n", b"x" * 159 + b"\n", b"x" * 160 + b"\n", b"x" * 500]),
    st.text("SHQ,*0123456789ABCDEF\n", max_size=80).map(str.encode),
    st.text("SHT,0123456789", max_size=40).map(lambda t: seal(t.encode())),
)
streams = st.lists(st.one_of(good_lines, noise), max_size=25).map(b"".join)


def flat(decoded: list[Decoded]) -> tuple[list[object], list[Fault]]:
    """Samples one by one, so that grouping does not matter."""
    items: list[object] = []
    for part in decoded:
        for item in part.items:
            items += map(tuple, item.table.tolist()) if isinstance(item, Samples) else [item]
    return items, [fault for part in decoded for fault in part.faults]


def only_fault(line: bytes) -> Fault:
    """The fault of a line alone, which must be its fault among many good ones as well."""
    decoded = Decoder().feed(line + b"\n")
    assert decoded.items == []
    (fault,) = decoded.faults
    good = encode_sample([*ROW[:9], 1, 5, 6] if line.count(b",") > 9 else ROW) * 20
    decoded = Decoder().feed(good + line + b"\n" + good)
    assert [len(item) for item in decoded.items if isinstance(item, Samples)] == [40]
    assert decoded.faults == [fault]
    return fault


@given(rows())
def test_a_sample_comes_back_as_it_was_encoded(row: list[int]):
    assert Decoder().feed(encode_sample(row)).items == [Samples.of([row])]


@given(hellos)
def test_a_hello_comes_back_as_it_was_encoded(hello: Hello):
    assert Decoder().feed(encode_hello(hello)).items == [hello]


@given(streams, st.lists(st.integers(0, 2000), max_size=12))
def test_pieces_make_no_difference(stream: bytes, cuts: list[int]):
    edges = [0, *sorted(min(c, len(stream)) for c in cuts), len(stream)]
    whole, bytewise, pieces = Decoder(), Decoder(), Decoder()
    expected = flat([whole.feed(stream)])
    assert flat([bytewise.feed(stream[i : i + 1]) for i in range(len(stream))]) == expected
    assert flat([pieces.feed(stream[a:b]) for a, b in pairwise(edges)]) == expected
    assert whole.counts == bytewise.counts == pieces.counts
    assert whole.recent_faults == bytewise.recent_faults == pieces.recent_faults


@given(streams)
def test_each_line_is_counted_exactly_once(stream: bytes):
    decoder = Decoder()
    decoder.feed(stream)
    count = decoder.counts
    seen = count.samples + count.hellos + count.unknown + count.blank + count.faults
    # A begun line counts only once it is known to be too long.
    begun = len(stream) - stream.rfind(b"\n") - 1 >= MAX_LINE
    assert seen == stream.count(b"\n") + begun


@given(st.data())
def test_long_runs_with_sealed_nonsense_in_between_come_out_as_line_by_line(data: st.DataObject):
    """A line may be wrong although its checksum is right; the quick path must see it too."""
    lines = []
    for _ in range(data.draw(st.integers(1, 4))):
        row = data.draw(rows())
        run = [encode_sample(row)] * data.draw(st.integers(1, 40))
        for at in data.draw(st.lists(st.integers(0, len(run) - 1), max_size=3)):
            fields = run[at][: run[at].index(b"*")].split(b",")
            place = data.draw(st.integers(1, len(fields) - 1))
            fields[place] = data.draw(
                st.sampled_from(
                    [b"", b"0", b"4294967296", b"9" * 30, b"0" * 20 + b"1", b"-1", b"x"]
                )
            )
            run[at] = seal(b",".join(fields))
        lines += run
    whole, single = Decoder(), Decoder()
    assert flat([whole.feed(b"".join(lines))]) == flat([single.feed(line) for line in lines])
    assert whole.counts == single.counts
    assert whole.recent_faults == single.recent_faults


@given(st.binary(max_size=3000))
def test_survives_any_bytes(data: bytes):
    Decoder().feed(data)


@given(st.lists(good_lines, min_size=1, max_size=8), st.data())
def test_a_flipped_bit_costs_its_line_and_at_most_the_next(lines: list[bytes], data: st.DataObject):
    stream = bytearray(b"".join(lines))
    at = data.draw(st.integers(0, len(stream) * 8 - 1))
    stream[at // 8] ^= 1 << at % 8
    before, _ = flat([Decoder().feed(b"".join(lines))])
    after, faults = flat([Decoder().feed(bytes(stream))])
    assert 1 <= len(faults) <= 2 or at // 8 == len(stream) - 1  # the last LF may be gone
    assert len(after) >= len(before) - 2
    remaining = iter(before)
    assert all(item in remaining for item in after), "nothing may come out that was not sent"


def test_consecutive_samples_come_in_one_block_and_a_hello_divides_them():
    sample = encode_sample(ROW)
    items = Decoder().feed(sample * 3 + encode_hello(HELLO) + sample).items
    assert [len(i) if isinstance(i, Samples) else "hello" for i in items] == [3, "hello", 1]


def test_carriage_returns_before_lf_are_tolerated():
    decoder = Decoder()
    stream = encode_sample(ROW).replace(b"\n", b"\r\n") + encode_hello(HELLO).replace(
        b"\n", b"\r\n"
    )
    assert decoder.feed(stream).items == [Samples.of([ROW]), HELLO]
    assert decoder.counts.faults == 0


@pytest.mark.parametrize("optional", [[], [""], ["", ""], ["", "", ""], ["1", "", ""]])
def test_optional_fields_that_are_not_fitted_may_be_empty_or_missing(optional: list[str]):
    line = seal(",".join(["S", *map(str, ROW[:9]), *optional]).encode())
    (block,) = Decoder().feed(line).items
    valve = 1 if "1" in optional else -1
    assert block == Samples.of([[*ROW[:9], valve, -1, -1]])


def test_newer_boards_may_send_more_types_and_more_fields():
    decoder = Decoder()
    stream = (
        seal(b"S," + b",".join(b"%d" % v for v in ROW[:9]) + b",1,2,3,future,7")
        + seal(b"T,21.5,c")
        + seal(b"H,3,0,1,1.0.2,board-7,power,100,10,FP,future")
    )
    decoded = decoder.feed(stream)
    assert decoded.items == [Samples.of([[*ROW[:9], 1, 2, 3]]), HELLO]
    assert decoded.faults == []
    assert (decoder.counts.extra_fields, decoder.counts.unknown) == (2, 1)


@pytest.mark.parametrize(
    "text",
    ["-1", "+1", " 1", "1 ", "1_000", "0x10", "1e3", "1.0", "", "4294967296", "9" * 60, "A"],
)
@pytest.mark.parametrize("place", range(len(FIELDS)))
def test_what_is_not_a_plain_u32_is_malformed_in_every_field(text: str, place: int):
    fields = [*map(str, ROW[:9]), "1", "5", "6"]
    fields[place] = text
    if place == 9 and text == "":
        return  # an optional field may be empty
    fault = only_fault(seal(",".join(["S", *fields]).encode())[:-1])
    assert fault.kind == "malformed"
    assert FIELDS[place] in fault.text or "wheel" in fault.text


@pytest.mark.parametrize("digit", ["١", "²", "５"])
def test_digits_of_other_scripts_are_not_text(digit: str):
    fields = [*map(str, ROW[:9])]
    fields[3] = digit
    assert only_fault(seal(",".join(["S", *fields]).encode())[:-1]).kind == "not text"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({0: 65_536}, "boot 65536 is not within 0..65535"),
        ({6: 0}, "adc_n is 0"),
        ({7: 600}, "adc_min 600 is above adc_max 530"),
        ({5: 49_799}, "adc_sum 49799"),
        ({5: 53_001}, "adc_sum 53001"),
        ({9: 2}, "valve 2 is neither 0 nor 1"),
    ],
)
def test_values_that_contradict_one_another_are_malformed(change: dict[int, int], says: str):
    row = [change.get(i, value) for i, value in enumerate(ROW)]
    text = ",".join(str(v) for v in row if v >= 0)
    fault = only_fault(seal(f"S,{text}".encode())[:-1])
    assert fault.kind == "malformed"
    assert says in fault.text


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        (b"S,1,2", "bad crc"),
        (b"S,1,2*", "bad crc"),
        (b"*", "bad crc"),
        (seal(b"Q")[:-1].lower(), "bad crc"),
        (seal(b"S,1,2")[:-1], "malformed"),
        (seal(b"S")[:-1], "malformed"),
        (seal(b"H,1")[:-1], "malformed"),
        (seal(b"")[:-1], "malformed"),
        (seal(b"H,3,0,1,1.0 2,board-7,power,100,10,FP")[:-1], "malformed"),
        (seal(b"H,3,0,1,1.0.2,board-7,moon,100,10,FP")[:-1], "malformed"),
        (b"\x00\x00", "not text"),
        (b"S,1\t,2*0000", "not text"),
        (b"\r\r", "not text"),
        (b"caf\xe9", "not text"),
        (b"x" * MAX_LINE, "too long"),
        (b"\xff" * 400, "too long"),
    ],
)
def test_each_kind_of_damage_has_its_name(line: bytes, kind: str):
    fault = only_fault(line)
    assert fault.kind == kind
    assert fault.line == line[:MAX_LINE]
    assert fault.text


def test_the_longest_allowed_line_is_not_too_long():
    line = seal(b"T," + b"x" * (MAX_LINE - 8))
    assert len(line) == MAX_LINE
    decoder = Decoder()
    assert decoder.feed(line).faults == []
    assert decoder.counts.unknown == 1
    longer = seal(b"T," + b"x" * (MAX_LINE - 7))
    assert [fault.kind for fault in decoder.feed(longer).faults] == ["too long"]


def test_a_bad_checksum_fault_tells_both_checksums():
    line = encode_sample(ROW)[:-1]
    wrong = line[:-4] + b"0000"
    assert only_fault(wrong).text == f"the checksum says 0000, the text gives {line[-4:].decode()}"


def test_a_megabyte_without_a_newline_is_one_fault_and_keeps_no_memory():
    decoder = Decoder()
    chunk = b"\xf0" * 1000
    tracemalloc.start()
    faults = [fault for _ in range(1000) for fault in decoder.feed(chunk).faults]
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert [fault.kind for fault in faults] == ["too long"]
    assert len(faults[0].line) == MAX_LINE
    assert decoder.counts.overlong_bytes == 1_000_000
    assert peak < 100_000
    assert decoder.feed(b"\n" + encode_sample(ROW)).items == [Samples.of([ROW])]


def test_the_last_bad_lines_are_kept_and_no_more():
    decoder = Decoder()
    decoder.feed(b"".join(b"bad %d\n" % i for i in range(100)))
    kept = [fault.line for fault in decoder.recent_faults]
    assert kept == [b"bad %d" % i for i in range(100 - len(kept), 100)]
    assert 8 <= len(kept) <= 32


def test_a_begun_line_can_be_dropped_when_the_port_was_lost():
    decoder = Decoder()
    line = encode_sample(ROW)
    decoder.feed(line[:20])
    decoder.drop_partial()
    decoded = decoder.feed(line)
    assert decoded == Decoded([Samples.of([ROW])], [])
