"""A rig file's text without its password, for places that keep or show it."""

from __future__ import annotations

import tomlkit
from tomlkit.exceptions import TOMLKitError

from flowlog.rig.faults import RigFileError


def without_password(rig_text: str) -> str:
    """The text with the broker's password replaced by `(not kept)`, all else as it was.

    Raises:
        RigFileError: the text is no TOML, so that nobody can say where a password stands in it.
    """
    try:
        document = tomlkit.parse(rig_text)
    except TOMLKitError:
        raise RigFileError(["the rig's text is not TOML"]) from None
    broker = document.get("broker")
    if isinstance(broker, dict) and "password" in broker:
        broker["password"] = "(not kept)"
    return tomlkit.dumps(document)


def holds_password(rig_text: str) -> bool:
    """Whether the broker's password stands in the text itself."""
    return without_password(rig_text) != rig_text
