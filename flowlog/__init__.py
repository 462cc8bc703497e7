"""flowlog watches a small boom sprayer while it works and says what is wrong."""

from __future__ import annotations

__version__ = "0.1.0"
