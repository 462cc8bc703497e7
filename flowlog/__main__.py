"""`python -m flowlog` is the same as the command `flowlog`."""

from __future__ import annotations

from flowlog.cli import main

if __name__ == "__main__":
    main()
