"""How often a wrong code may be tried: ten times freely, then ever more slowly."""

from __future__ import annotations

import ipaddress
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Final

FREE: Final = 10
"""Wrong codes of one address before it has to wait."""
FREE_OF_ALL: Final = 100
"""The same for all addresses together: who has many of them gets no further."""
FIRST_WAIT_S: Final = 2.0
LONGEST_WAIT_S: Final = 60.0
WAIT_OF_ALL_S: Final = 1.0
FORGIVEN_AFTER_S: Final = 15 * 60.0
_MOST_KEPT: Final = 512


@dataclass(slots=True)
class _Wrong:
    count: int = 0
    last_s: float = 0.0


@dataclass(slots=True)
class Tries:
    """Counts wrong codes by address; times are of a clock that nobody sets."""

    _by_address: OrderedDict[str, _Wrong] = field(default_factory=OrderedDict)
    _all: _Wrong = field(default_factory=_Wrong)

    def wait_s(self, address: str, now_s: float) -> float:
        """How long this address must wait before its next try is looked at; 0 for not at all."""
        own = self._by_address.get(_key(address))
        left = 0.0
        if own is not None and own.count >= FREE:
            wait_s = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(own.count - FREE, 20))
            left = own.last_s + wait_s - now_s
        if self._all.count >= FREE_OF_ALL:
            left = max(left, self._all.last_s + WAIT_OF_ALL_S - now_s)
        return max(0.0, left)

    def wrong(self, address: str, now_s: float) -> None:
        """A wrong code came from this address."""
        key = _key(address)
        own = self._by_address.pop(key, _Wrong())
        for one in (own, self._all):
            if now_s - one.last_s > FORGIVEN_AFTER_S:
                one.count = 0
            one.count += 1
            one.last_s = now_s
        self._by_address[key] = own
        while len(self._by_address) > _MOST_KEPT:
            self._by_address.popitem(last=False)

    def right(self, address: str) -> None:
        """The right code came: this address begins anew."""
        self._by_address.pop(_key(address), None)


def _key(address: str) -> str:
    """One household of addresses counts as one: whoever has an IPv6 network has all of it."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv6Address):
        if parsed.ipv4_mapped is not None:
            return str(parsed.ipv4_mapped)
        return str(ipaddress.ip_network((parsed, 64), strict=False))
    return str(parsed)
