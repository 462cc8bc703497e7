"""Where the access code is kept, so that a restart does not lock the phones out."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
from pathlib import Path
from typing import Final

from flowlog.web.access import ALPHABET, LENGTH, Access, new_code

FILE: Final = "page-access.json"
_LARGEST: Final = 1000


def load(folder: Path, slug: str) -> Access | None:
    """The access that is kept in a folder; None if there is none, or nothing usable."""
    try:
        with (folder / FILE).open("rb") as source:
            found = json.loads(source.read(_LARGEST))
        code, secret = str(found["code"]), bytes.fromhex(found["secret"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    if len(code) != LENGTH or set(code) - set(ALPHABET) or len(secret) != 32:
        return None
    return Access(code, secret, slug)


def make(slug: str) -> Access:
    return Access(new_code(), secrets.token_bytes(32), slug)


def keep(access: Access, folder: Path) -> bool:
    """Keep it, readable for this user only. Returns whether that was possible."""
    body = json.dumps({"code": access.code, "secret": access.secret.hex()})
    begun = folder / f".{FILE}.{secrets.token_hex(4)}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(begun, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as out:
            out.write(body)
            out.flush()
            os.fsync(out.fileno())
        begun.replace(folder / FILE)
    except OSError:
        with contextlib.suppress(OSError):
            begun.unlink(missing_ok=True)
        return False
    return True
