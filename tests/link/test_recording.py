"""Recordings: bytes as received, a header for people, and damage told by file and line."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.link.errors import RecordingError
from flowlog.link.recording import (
    Recording,
    RecordingWriter,
    header_text,
    read_recording,
)

GOOD = b"# flowlog recording 1\n# rig: Cart\n# notes: with: colon\n#\n"


def written(folder: Path, data: bytes) -> Path:
    path = folder / "x.flog"
    path.write_bytes(data)
    return path


@given(
    st.binary(max_size=2000),
    st.dictionaries(
        st.sampled_from(["started", "rig", "board", "notes"]),
        st.text(max_size=60).map(lambda t: " ".join(t.split())),
    ),
    st.integers(1, 300),
)
def test_header_and_bytes_come_back_as_they_were_written(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, header: dict[str, str], chunk: int
):
    path = tmp_path_factory.mktemp("r") / "a.flog"
    try:
        for value in header.values():
            value.encode()
    except UnicodeEncodeError:
        return
    with RecordingWriter(path, header) as writer:
        for i in range(0, len(data), 7):
            writer.write(data[i : i + 7])
    assert writer.bytes_written == len(data)
    found, pieces = read_recording(path, chunk)
    parts = list(pieces)
    assert found == header
    assert b"".join(parts) == data
    assert max(map(len, parts), default=0) <= chunk


def test_data_that_looks_like_a_header_stays_data(tmp_path: Path):
    header, pieces = read_recording(written(tmp_path, GOOD + b"# rig: other\n#\n"))
    assert header == {"rig": "Cart", "notes": "with: colon"}
    assert b"".join(pieces) == b"# rig: other\n#\n"


@pytest.mark.parametrize("cut", range(len(GOOD)))
def test_a_header_cut_anywhere_is_told_with_the_file(tmp_path: Path, cut: int):
    with pytest.raises(RecordingError, match=r"x\.flog.*(begins with|has no end|header line)"):
        read_recording(written(tmp_path, GOOD[:cut]))


def test_data_cut_in_a_line_is_read_as_far_as_it_goes(tmp_path: Path):
    _, pieces = read_recording(written(tmp_path, GOOD + b"S,1,2"))
    assert b"".join(pieces) == b"S,1,2"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", r"x\.flog: empty; a recording begins with '# flowlog recording 1'"),
        (b"S,1,2,3*0000\n", r"x\.flog:1: not a recording: begins with 'S,1,2,3\*0000'"),
        (b"\xff\x00\x01" * 5000, r"x\.flog:1: not a recording"),
        (b"# flowlog recording 2\n#\n", r"x\.flog:1: recording version 2; this flowlog reads"),
        (b"# flowlog recording 1\nS,1\n", r"x\.flog:2: 'S,1' is no header line"),
        (b"# flowlog recording 1\n# Rig: a\n#\n", r"x\.flog:2: '# Rig: a' is no header line"),
        (b"# flowlog recording 1\n# a: b\n# nothing\n", r"x\.flog:3: '# nothing'"),
        (b"# flowlog recording 1\n" + b"# a: b\n" * 500, "the header has no end"),
        (b"# flowlog recording 1\n# a: " + b"b" * 9000, "the header has no end"),
    ],
)
def test_what_is_no_recording_is_told_with_file_line_and_what_would_be_right(
    tmp_path: Path, data: bytes, says: str
):
    with pytest.raises(RecordingError, match=says) as caught:
        read_recording(written(tmp_path, data))
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 400


def test_a_file_that_is_not_there_is_told(tmp_path: Path):
    with pytest.raises(RecordingError, match="cannot be read: No such file"):
        read_recording(tmp_path / "none.flog")


def test_a_folder_is_no_recording(tmp_path: Path):
    with pytest.raises(RecordingError, match="cannot be read: Is a directory"):
        read_recording(tmp_path)


def test_line_ends_of_another_system_are_tolerated_in_the_header(tmp_path: Path):
    header, pieces = read_recording(written(tmp_path, GOOD.replace(b"\n", b"\r\n") + b"data\r\n"))
    assert header["rig"] == "Cart"
    assert b"".join(pieces) == b"data\r\n"


def test_an_existing_file_is_never_overwritten(tmp_path: Path):
    path = written(tmp_path, b"precious")
    with pytest.raises(RecordingError, match="exists already and is not overwritten"):
        RecordingWriter(path, {})
    assert path.read_bytes() == b"precious"


def test_a_line_break_in_a_value_cannot_end_the_header():
    assert header_text({"notes": "a\n#\nb"}) == b"# flowlog recording 1\n# notes: a # b\n#\n"


@pytest.mark.parametrize("header", [{"Rig": "a"}, {"": "a"}, {"a b": "c"}, {"rig": "x" * 2000}])
def test_refuses_a_header_that_could_not_be_read_back(header: dict[str, str]):
    with pytest.raises(ValueError, match="header"):
        header_text(header)


def test_each_second_of_bytes_reaches_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    clock = [100.0]
    synced: list[int] = []
    monkeypatch.setattr("flowlog.link.recording.time.monotonic", lambda: clock[0])
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda fd: (synced.append(os.fstat(fd).st_size), real(fd)))
    path = tmp_path / "a.flog"
    with RecordingWriter(path, {}) as writer:
        start = path.stat().st_size
        assert start == len(header_text({})), "the header is on the disk at once"
        synced.clear()
        for _ in range(30):
            clock[0] += 0.1
            writer.write(b"0123456789")
        # Ten writes a second: three syncs in three seconds, give or take the rounding of 0.1.
        assert 2 <= len(synced) <= 3
        assert path.stat().st_size - start >= 180
    assert path.stat().st_size - start == 300


def test_a_full_disk_is_one_plain_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    writer = RecordingWriter(tmp_path / "a.flog", {})

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RecordingError, match="writing stopped: No space left on device"):
        writer.close()
    writer.close()


def test_as_a_source_it_ends(tmp_path: Path):
    source = Recording(written(tmp_path, GOOD + b"abcdef"), chunk=4)
    assert not source.ended
    assert [source.read() for _ in range(3)] == [b"abcd", b"ef", b""]
    assert source.ended
    assert source.header["rig"] == "Cart"
