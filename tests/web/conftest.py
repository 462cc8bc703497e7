"""The stores and live states that the review's tests make are looked at here through the pages."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))
