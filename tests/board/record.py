"""Record the scenes of the emulated bench anew, into tests/recordings.

    python tests/board/record.py && python tests/recordings/rebuild.py

Only after a change of the firmware, the bench or a scene: a recording is kept for what it was.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.bench_scenes import SCENES, rest
from support.emulated_board import EmulatedBoard, build

from flowlog.link.recording import RecordingWriter
from flowlog.wire.decode import Decoder
from flowlog.wire.records import Hello

STARTED = "2026-11-25T14:56:00+00:00"
RECORDINGS = Path(__file__).parents[1] / "recordings"


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        program = build(Path(folder))
        for scene in SCENES:
            with EmulatedBoard(program) as board:
                rest(board)
                scene.drive(board)
                data = board.run_to(scene.until_s)
            hello = next(i for i in Decoder().feed(data).items if isinstance(i, Hello))
            path = RECORDINGS / f"{scene.name}.flog"
            path.unlink(missing_ok=True)
            header = {
                "started": STARTED,
                "rig": "Demo cart",
                "board": hello.board,
                "firmware": hello.firmware,
                "notes": scene.notes,
            }
            with RecordingWriter(path, header) as writer:
                writer.write(data)
            print(path.name, len(data), "bytes")


if __name__ == "__main__":
    main()
