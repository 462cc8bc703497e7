"""A store in a temporary folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.storing import RIG, RIG_TEXT

from flowlog.store.recorder import Recorder


@pytest.fixture
def recorder(tmp_path: Path) -> Iterator[Recorder]:
    made = Recorder.open(tmp_path, RIG, RIG_TEXT, wall_us=1, busy_timeout_s=0.3)
    yield made
    made.close()
