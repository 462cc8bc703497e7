"""Names of the topics: `<prefix>/1/<rig>/<what>`. The 1 is the version of this layout."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from flowlog.errors import FlowlogError
from flowlog.rig.model import Broker

LAYOUT: Final = 1
LONGEST_PREFIX: Final = 200
"""Characters; MQTT allows 65,535 bytes, but brokers and people like far less."""


class TopicError(FlowlogError):
    """The `topic` in the rig file cannot begin a topic name."""


@dataclass(frozen=True, slots=True)
class Topics:
    """The four topics of one rig."""

    prefix: str
    rig: str

    def __post_init__(self) -> None:
        check_prefix(self.prefix)

    @classmethod
    def of(cls, broker: Broker, rig_slug: str) -> Topics:
        """Topics of a rig at its broker. Raises `TopicError` if the prefix cannot be used."""
        return cls(broker.topic, rig_slug)

    @property
    def status(self) -> str:
        """Retained: is the daemon there, and what is wrong now. Also the will."""
        return self._named("status")

    @property
    def reading(self) -> str:
        """One a second while there is a connection, never repeated."""
        return self._named("reading")

    @property
    def alert(self) -> str:
        """Every change of every alert, in order, from the outbox."""
        return self._named("alert")

    @property
    def route(self) -> str:
        """The begin and the end of each route, in order, from the outbox."""
        return self._named("route")

    def _named(self, what: str) -> str:
        return f"{self.prefix}/{LAYOUT}/{self.rig}/{what}"


def check_prefix(prefix: str) -> None:
    """Raise `TopicError` unless `prefix` can begin a topic name (MQTT 5.0, 4.7)."""
    wrong = None
    if not prefix:
        wrong = "it is empty"
    elif len(prefix) > LONGEST_PREFIX:
        wrong = f"it has {len(prefix)} characters, {LONGEST_PREFIX} are enough"
    elif any(c in "+#" or not c.isprintable() for c in prefix):
        wrong = "'+', '#' and unprintable characters are not allowed in it"
    elif prefix.startswith(("$", "/")) or prefix.endswith("/"):
        wrong = "it may not begin with '$' or '/' nor end with '/'"
    if wrong is not None:
        raise TopicError(
            f"broker.topic: {prefix[:40]!r} cannot begin a topic: {wrong}"
            " (write for instance 'flowlog' or 'farm/flowlog')"
        )
