"""What the daemon sees of publishing, and the publisher of a rig without a broker.

Apart from `flowlog.publish.publisher`, so that such a rig loads no MQTT client.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final, Protocol

from flowlog.publish.handover import PublishState
from flowlog.publish.messages import Clock
from flowlog.publish.window import Refused, Row


class AnyPublisher(Protocol):
    """What the daemon sees: `Publisher`, or `NullPublisher` where no broker is configured."""

    @property
    def enabled(self) -> bool:
        """Whether anything will ever be sent; if not, don't fill the outbox."""
        ...

    def start(self) -> None: ...
    def stop(
        self, timeout_s: float = 2.0, *, wall_us: int | None = None, clock: Clock = "none"
    ) -> None: ...
    def set_status(self, payload: Mapping[str, Any]) -> None: ...
    def publish_reading(self, payload: Mapping[str, Any]) -> None: ...
    def offer(self, rows: Iterable[Row]) -> int: ...
    def take_acknowledged(self) -> list[int]: ...
    def take_refused(self) -> list[Refused]: ...
    def state(self) -> PublishState: ...


class NullPublisher:
    """No broker is configured: takes everything and keeps nothing."""

    enabled: Final = False

    def start(self) -> None:
        """Nothing to start."""

    def stop(
        self, timeout_s: float = 2.0, *, wall_us: int | None = None, clock: Clock = "none"
    ) -> None:
        """Nothing to stop."""

    def set_status(self, payload: Mapping[str, Any]) -> None:
        """Dropped."""

    def publish_reading(self, payload: Mapping[str, Any]) -> None:
        """Dropped."""

    def offer(self, rows: Iterable[Row]) -> int:
        return 0

    def take_acknowledged(self) -> list[int]:
        return []

    def take_refused(self) -> list[Refused]:
        return []

    def state(self) -> PublishState:
        return PublishState("none", "no broker is configured")
