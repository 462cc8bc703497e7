"""Print one of the README's commands, so that CI runs what a newcomer would type."""

from __future__ import annotations

import re
import sys
from pathlib import Path


def command(name: str) -> str:
    text = Path("README.md").read_text(encoding="utf-8")
    found = re.search(rf"<!-- command: {name} -->\n```console\n(.+?)\n```", text, re.DOTALL)
    if found is None:
        raise SystemExit(f"README.md has no command marked '{name}'")
    return found[1]


if __name__ == "__main__":
    print(command(sys.argv[1]))
