"""Fail if any test was skipped: under CI a missing service is an error, not an excuse."""

from __future__ import annotations

import sys
import xml.etree.ElementTree as ET


def main(path: str) -> int:
    cases = list(ET.parse(path).getroot().iter("testcase"))
    bad = [case for case in cases if case.find("failure") is not None]
    bad += [case for case in cases if case.find("error") is not None]
    skipped = [case for case in cases if case.find("skipped") is not None]
    for case in skipped:
        note = case.find("skipped")
        why = note.get("message") if note is not None else ""
        print(f"skipped: {case.get('classname')}.{case.get('name')}: {why}")
    passed = len(cases) - len(bad) - len(skipped)
    print(f"{passed} passed, {len(bad)} failed, {len(skipped)} skipped")
    return 1 if skipped or bad or not passed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
