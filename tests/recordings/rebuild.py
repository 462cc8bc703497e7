"""Write the expected events of every recording anew. Read the difference before you commit it."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from test_recordings import RECORDINGS, told

for recording in RECORDINGS:
    recording.with_suffix(".chk").write_text(
        "\n".join(told(recording, 65536)) + "\n", encoding="utf-8"
    )
    print(recording.with_suffix(".chk"))
