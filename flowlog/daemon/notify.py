"""Tells the service manager how the daemon is: the sd_notify datagram protocol, and no more.

Our own because it is a dozen lines and the kept libraries time the watchdog by the wall clock,
which steps by years on a host without a battery, or cannot say that the service is stopping.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping


class Notifier:
    """Sends states to `NOTIFY_SOCKET`. Without one, or when nobody listens, it does nothing."""

    def __init__(self, environ: Mapping[str, str] = os.environ) -> None:
        address = environ.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        self.watchdog_s = _watchdog_s(environ)
        """How often the manager wants to hear from us, or None when it does not."""

    def send(self, *states: str) -> bool:
        """Send states such as `READY=1`, one datagram. True when somebody took it."""
        if not self._address:
            return False
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as out:
                out.settimeout(0.5)
                out.connect(self._address)
                out.sendall("\n".join(states).encode())
        except OSError:
            return False
        return True


def _watchdog_s(environ: Mapping[str, str]) -> float | None:
    try:
        meant_for = int(environ.get("WATCHDOG_PID", os.getpid()))
        period_us = int(environ["WATCHDOG_USEC"])
    except (KeyError, ValueError):
        return None
    return period_us / 1e6 if period_us > 0 and meant_for == os.getpid() else None
