"""Who may look: a random access code, exchanged once for a signed cookie.

The code is for machines on the rig's own network, which cannot reach the terminal that shows it.
It is made here, never chosen, so nobody's usual password is asked for, and it lives with the
secret that signs the cookies: a new code ends every session.
"""

from __future__ import annotations

import base64
import hmac
import secrets
from dataclasses import dataclass, field
from typing import Final

from flowlog.web.tries import Tries

ALPHABET: Final = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without what is read for something else: 0 O, 1 I L, U V."""
LENGTH: Final = 8
"""30**8 is 6.6e11: at one try in a second, the slowest that a stranger gets, 20,000 years."""
SESSION_S: Final = 30 * 24 * 3600
_MARK: Final = b"flowlog page session 1"


def new_code() -> str:
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


def spoken(code: str) -> str:
    """As it is shown: two groups of four."""
    return f"{code[:4]}-{code[4:]}"


def typed(text: str) -> str:
    """What a person typed, without the marks and letter cases that do not matter."""
    return "".join(c for c in text.upper() if c.isascii() and c.isalnum())


@dataclass(slots=True)
class Access:
    """The code, the sessions, and how often a wrong one was tried.

    Args:
        code: letters and digits of `ALPHABET`.
        secret: 32 random bytes.
        slug: the rig's, so that two rigs' pages on one host do not share a cookie.
    """

    code: str = field(repr=False)
    secret: bytes = field(repr=False)
    slug: str
    tries: Tries = field(default_factory=Tries)

    @property
    def cookie(self) -> str:
        """The cookie's name."""
        return f"flowlog-{self.slug}"

    def is_code(self, text: str) -> bool:
        """Whether it is the code; takes as long for a nearly right one as for a wrong one."""
        return hmac.compare_digest(typed(text).encode(), self.code.encode())

    def begin(self, now_s: float) -> str:
        """A session's cookie, good for `SESSION_S` from now (UTC seconds)."""
        body = f"{int(now_s) + SESSION_S}.{secrets.token_urlsafe(12)}"
        return f"{body}.{self._sign(body)}"

    def holds(self, cookie: str | None, now_s: float) -> bool:
        """Whether a cookie is one of ours and not too old."""
        if not cookie or len(cookie) > 200 or not cookie.isascii():
            return False
        body, _, signature = cookie.rpartition(".")
        if not hmac.compare_digest(signature.encode(), self._sign(body).encode()):
            return False
        until = body.partition(".")[0]
        # A clock that was set back for years must not make a session of days one of years.
        return until.isdecimal() and 0 <= int(until) - now_s <= SESSION_S

    def _sign(self, body: str) -> str:
        # The code is signed too: another code, other cookies.
        digest = hmac.digest(
            self.secret, b"\0".join((_MARK, self.code.encode(), body.encode())), "sha256"
        )
        return base64.urlsafe_b64encode(digest).decode().rstrip("=")
