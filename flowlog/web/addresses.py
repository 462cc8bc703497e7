"""By what names and addresses this machine's pages may be asked for."""

from __future__ import annotations

import contextlib
import fcntl
import ipaddress
import socket
import struct
from pathlib import Path
from typing import Final

_SIOCGIFADDR: Final = 0x8915
LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "::1"})


def is_loopback(host: str) -> bool:
    return ipaddress.ip_address(host).is_loopback


def names_of_machine() -> frozenset[str]:
    """The machine's own name, plain and as the local network's name service says it."""
    name = socket.gethostname().lower().partition(".")[0]
    return frozenset({name, f"{name}.local"}) if name else frozenset()


def own_addresses() -> list[str]:
    """IPv4 addresses of the network interfaces, wireless ones first; no loopback."""
    found: list[tuple[bool, str]] = []
    try:
        interfaces = socket.if_nameindex()
    except OSError:
        return []  # shut off from asking; the address is then for the reader to know
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        for _, name in interfaces:
            with contextlib.suppress(OSError):
                answer = fcntl.ioctl(
                    asked.fileno(), _SIOCGIFADDR, struct.pack("256s", name[:15].encode())
                )
                address = socket.inet_ntoa(answer[20:24])
                if not is_loopback(address):
                    wireless = Path("/sys/class/net", name, "wireless").exists()
                    found.append((not wireless, address))
    return [address for _, address in sorted(found, key=lambda one: one[0])]


def urls(host: str, port: int) -> list[str]:
    """Where the pages can be opened, the likeliest first."""
    address = ipaddress.ip_address(host)
    if not address.is_unspecified:
        return [_url(host, port)]
    return [_url(one, port) for one in own_addresses()] or [_url("127.0.0.1", port)]


def _url(host: str, port: int) -> str:
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"
