"""The recordings that are kept of the bench are still what the firmware gives on it."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.bench_scenes import SCENES, Scene

from flowlog.link.recording import read_recording
from flowlog.monitor.pipeline import Monitor
from flowlog.rig.reader import read_rig
from flowlog.wire.decode import Decoder

RECORDINGS = Path(__file__).parents[1] / "recordings"


def told(data: bytes) -> tuple[list[tuple[int, str, str]], int, dict[str, int]]:
    """Events with their seconds; pulses; what the decoder counted."""
    decoder, monitor = Decoder(), Monitor(read_rig(RECORDINGS / "rig.toml"))
    outputs = [monitor.feed(item) for item in decoder.feed(data).items]
    outputs.append(monitor.finish())
    events = [
        (round(e.at.t_us / 1e6), e.code, e.change) for output in outputs for e in output.events
    ]
    pulses = sum(reading.pulses for output in outputs for reading in output.readings)
    counts = decoder.counts
    seen = {"samples": counts.samples, "hellos": counts.hellos, "faults": counts.faults}
    return events, pulses, seen


@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: scene.name)
def test_a_scene_of_the_bench_gives_what_its_recording_holds(power_on, scene: Scene):
    board = power_on()
    scene.drive(board)
    header, pieces = read_recording(RECORDINGS / f"{scene.name}.flog")
    kept = told(b"".join(pieces))
    assert told(board.run_to(scene.until_s)) == kept
    assert header["notes"] == scene.notes
    assert kept[0], "something happens in it"
