"""Fail if any test was skipped: under CI a missing service is an error, not an excuse."""

from __future__ import annotations

import sys
import xml.etree.ElementTree as ET


def main(path: str) -> int:
    skipped = [
        (case.get("classname"), case.get("name"), note.get("message"))
        for case in ET.parse(path).getroot().iter("testcase")
        if (note := case.find("skipped")) is not None
    ]
    for where, name, why in skipped:
        print(f"skipped: {where}.{name}: {why}")
    return 1 if skipped else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
