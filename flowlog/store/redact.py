"""Rig files without their passwords: what the store keeps of them."""

from __future__ import annotations

import hashlib
from typing import Any, Final

WORD: Final = "password"


def blank_passwords(text: str) -> str:
    """The rig file's text with every password value empty and comments about one left out.

    A text that is no TOML loses every line with the word in it.
    """
    if WORD not in text.lower():
        return text
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(text)
    except TOMLKitError:
        return _drop_lines(text)
    _blank(document)
    lines = tomlkit.dumps(document).splitlines(keepends=True)
    return "".join(
        line for line in lines if not (line.lstrip().startswith("#") and WORD in line.lower())
    )


def fingerprint(text: str) -> str:
    """SHA-256 of a text, in hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def _blank(node: Any) -> None:
    if isinstance(node, list):
        for entry in node:
            _blank(entry)
    if not isinstance(node, dict):
        return
    for key in list(node):
        if WORD in key.lower():
            node[key] = ""
        else:
            _blank(node[key])
        trivia = getattr(node[key], "trivia", None)
        if trivia is not None and WORD in f"{key} {trivia.comment}".lower():
            trivia.comment = ""


def _drop_lines(text: str) -> str:
    return "".join(line for line in text.splitlines(keepends=True) if WORD not in line.lower())
