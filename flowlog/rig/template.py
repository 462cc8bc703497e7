"""The commented example of a rig file, which is also its manual."""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path

from flowlog.rig.faults import RigFileError


def template_text() -> str:
    """The text of the example rig file."""
    return (resources.files("flowlog.rig") / "example.toml").read_text("utf-8")


def write_template(path: str | Path) -> None:
    """Write the example to a new file, readable by its owner alone: it may come to hold a password.

    Raises:
        RigFileError: the file is there already (it is left alone) or cannot be written.
    """
    write_new_file(Path(path), template_text(), mode=0o600)


def write_new_file(where: Path, text: str, mode: int = 0o666) -> None:
    """Write a text to a new file, with the rights `mode` less the user's mask.

    Raises:
        RigFileError: the file is there already (it is left alone) or cannot be written.
    """
    try:
        handle = os.open(where, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    except FileExistsError:
        raise RigFileError(
            [f"{where}: is there already and is left as it is (give a new name)"]
        ) from None
    except (OSError, ValueError) as error:
        raise RigFileError([f"{where}: cannot be written: {_reason(error)}"]) from None
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise RigFileError([f"{where}: cannot be written: {_reason(error)}"]) from None


def _reason(error: OSError | ValueError) -> str:
    return str(error.strerror if isinstance(error, OSError) else error)
