"""Every recording in this folder, through decoder and pipeline: the events beside it must come.

`python tests/recordings/rebuild.py` writes the expected events anew; read the difference before
you commit it.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from flowlog.link.recording import read_recording
from flowlog.monitor.pipeline import Monitor
from flowlog.rig.reader import read_rig
from flowlog.wire.decode import Decoder

HERE = Path(__file__).parent
RECORDINGS = sorted(HERE.glob("*.flog"))


def told(recording: Path, chunk: int) -> list[str]:
    """What the pipeline says, a line an event, and the totals at the end."""
    decoder, monitor = Decoder(), Monitor(read_rig(HERE / "rig.toml"))
    _, pieces = read_recording(recording, chunk)
    outputs = [monitor.feed(item) for piece in pieces for item in decoder.feed(piece).items]
    outputs.append(monitor.finish())
    lines = [
        f"{e.at.segment} {e.at.t_us / 1e6:9.1f} s  {e.code} {e.change}: {e.text}"
        for output in outputs
        for e in output.events
    ]
    readings = [reading for output in outputs for reading in output.readings]
    lines.append(
        f"{len(readings)} readings, {sum(r.volume_m3 for r in readings) * 1e3:.3f} L, "
        f"{sum(r.area_m2 for r in readings):.1f} m2, {sum(r.lost for r in readings)} lost"
    )
    return lines


def test_there_are_recordings():
    assert RECORDINGS


@pytest.mark.parametrize("recording", RECORDINGS, ids=lambda path: path.stem)
def test_a_recording_gives_the_events_beside_it(recording):
    expected = recording.with_suffix(".chk").read_text(encoding="utf-8").splitlines()
    assert told(recording, 65536) == expected


@pytest.mark.parametrize("recording", RECORDINGS, ids=lambda path: path.stem)
@pytest.mark.parametrize("chunk", [61, 997])
def test_the_size_of_the_pieces_makes_no_difference(recording, chunk):
    assert told(recording, chunk) == told(recording, 65536)
