"""The count of starts in a small file: one write a start, and never without an old copy."""

import os

_HIGHEST = 65535


def next_boot(path):
    """Count this start. 0 if the file cannot be written: the board cannot count then."""
    before = _read(path)
    if before is None:
        before = _read(path + ".new")  # the power went between remove and rename
    boot = 1 if before is None else before % _HIGHEST + 1
    try:
        with open(path + ".new", "w") as file:
            file.write("%d\n" % boot)
        _replace(path + ".new", path)
    except OSError:
        return 0
    return boot


def _read(path):
    try:
        with open(path) as file:
            text = file.read().strip()
    except OSError:
        return None
    if not text or not all("0" <= letter <= "9" for letter in text):
        return None
    value = int(text)
    return value if 0 < value <= _HIGHEST else None


def _replace(new, path):
    try:
        os.rename(new, path)
    except OSError:
        os.remove(path)  # some file systems do not rename over a file
        os.rename(new, path)
