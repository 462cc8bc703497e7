"""Why a port or recording cannot be used, in words that say what to do."""

from __future__ import annotations

import errno
import grp
import os
from pathlib import Path
from typing import Final

from flowlog.errors import FlowlogError


class LinkError(FlowlogError):
    """The way to the bytes is not there."""


class PortAbsentError(LinkError):
    """No such port at the moment."""


class PortPermissionError(LinkError):
    """The port is there, and this user may not open it."""


class PortBusyError(LinkError):
    """Another program has the port."""


class RecordingError(LinkError):
    """A recording cannot be read or written."""


_PERMISSION: Final = {errno.EACCES, errno.EPERM}
_BUSY: Final = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}
_BY_ID: Final = Path("/dev/serial/by-id")


def port_error(port: str, error: BaseException) -> LinkError:
    """The error to raise for what the operating system said on opening `port`."""
    number = getattr(error, "errno", None)
    if number in _PERMISSION:
        group = _group_of(port)
        return PortPermissionError(
            f"{port}: no permission to open it; put your user into the group {group} "
            f"(sudo usermod -aG {group} $USER) and log in again"
        )
    if number in _BUSY or "exclusively lock" in str(error):
        return PortBusyError(
            f"{port}: another program uses it; stop that one first "
            f"(is flowlog running already? 'fuser {port}' tells)"
        )
    if number == errno.ENOTTY or "Could not configure port" in str(error):
        return LinkError(f"{port}: this is not a serial port; {_ports_here()}")
    if port.startswith("/") and not os.path.lexists(port):
        return PortAbsentError(f"{port}: no such port; is the board plugged in? {_ports_here()}")
    if isinstance(error, ValueError):
        return LinkError(f"{port}: not a port: {_plain(error)}")
    return PortAbsentError(f"{port}: does not answer: {_plain(error)}")


def _plain(error: BaseException) -> str:
    number = getattr(error, "errno", None)
    text = os.strerror(number) if isinstance(number, int) else str(error)
    return text.splitlines()[0] if text else type(error).__name__


def _group_of(port: str) -> str:
    try:
        name = grp.getgrgid(Path(port).stat().st_gid).gr_name
    except (OSError, KeyError):
        return "dialout"
    return "dialout" if name == "root" else name


def _ports_here() -> str:
    """The ports of this machine, those names first that stay the same after a replug."""
    found = sorted(map(str, _BY_ID.glob("*"))) if _BY_ID.is_dir() else []
    dev = Path("/dev")
    found = found or sorted(str(p) for kind in ("ttyACM*", "ttyUSB*") for p in dev.glob(kind))
    return f"there is {', '.join(found)}" if found else "no USB serial port is there now"
