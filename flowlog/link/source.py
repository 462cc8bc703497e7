"""Where bytes come from: what a port and a recording have in common."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, runtime_checkable

LinkChange = Literal["lost", "back"]


@dataclass(frozen=True, slots=True)
class LinkEvent:
    """The way to the board was lost, or is back: one of each an outage, however long it lasts."""

    change: LinkChange
    monotonic_s: float
    """Host's monotonic clock when it was noticed."""
    text: str
    """What happened and what to do, in plain words."""


@runtime_checkable
class Source(Protocol):
    """Bytes in pieces, as they come; a piece has nothing to do with a line.

    One thread reads; another may write. After `close` nothing may be called but `close`.
    """

    @property
    def name(self) -> str:
        """The port or file, as the user named it."""

    @property
    def ended(self) -> bool:
        """True once nothing more can ever come."""

    def open(self) -> None:
        """Get ready. Raises a `LinkError` with the reason in plain words."""

    def read(self, timeout_s: float = 0.25) -> bytes:
        """The bytes that are there, at the latest after `timeout_s`; b"" if there are none.

        Never raises for an outage that may end: `take_events` tells of it.
        """

    def write(self, data: bytes) -> bool:
        """Send to the board. False if it could not be sent, which is no error."""

    def take_events(self) -> list[LinkEvent]:
        """What happened to the link since the last call."""

    def close(self) -> None:
        """Let go of the port or file. May be called twice, and while another thread reads."""
