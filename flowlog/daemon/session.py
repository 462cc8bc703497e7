"""One route in work: its monitor, the names of its events, and its replay after a restart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable

from flowlog.daemon.leftover import Leftover
from flowlog.daemon.pending import Route
from flowlog.daemon.routes import RouteKeeper
from flowlog.monitor.outputs import Event, Output, Position
from flowlog.monitor.pipeline import Monitor
from flowlog.monitor.stream import StreamItem, joined
from flowlog.rig.model import HealthyBoom, Rig
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples


class Session:
    """A route from its first sample on. `last` is the position of its newest output.

    Args:
        rig: with the calibrations that the route began with.
        baseline: what its boom passes when healthy, if that was calibrated.
    """

    def __init__(self, rig: Rig, route: Route, baseline: HealthyBoom | None = None) -> None:
        self.route = route
        self.keeper = RouteKeeper(rig.thresholds.route_pause_s)
        self.last = Position(0, 0, 0)
        self.hello: Hello | None = None
        """What the board last said about itself in this route."""
        self.samples = 0
        self._monitor = Monitor(rig, baseline)
        self._told: Counter[str] = Counter()
        self._filled = False

    def feed(self, item: StreamItem) -> Output:
        """Take what comes next in the route's stream."""
        if isinstance(item, Hello):
            self.hello = item
        elif isinstance(item, Samples):
            self.samples += len(item)
        else:
            self._filled = not item.carried
        return self._seen(self._monitor.feed(item))

    def finish(self) -> Output:
        """The route ends here."""
        return self._seen(self._monitor.finish())

    def leftover(self, now_us: int) -> Leftover | None:
        """What this route leaves in the tank for the next one."""
        left_m3 = self._monitor.tank_m3
        if left_m3 is None:
            return None
        return Leftover(left_m3, 0.0 if self._filled else self.keeper.idle_s(now_us))

    def uid(self, event: Event) -> str:
        """Names one change of one alert; call once for each event, in order.

        Counted along the stream, so a replay gives every event its old name.
        """
        number = self._told[event.alert]
        self._told[event.alert] += 1
        return f"{self.route.uid}:{event.alert}:{number}"

    def replay(
        self, stream: Iterable[StreamItem], stored: Collection[str], until: Position | None
    ) -> tuple[list[Event], list[tuple[Event, str]]]:
        """Go through what is stored of the route, as if it came just now.

        Args:
            stream: the route's stored stream from its beginning.
            stored: uids of the events that are stored.
            until: position of the newest stored reading.

        Returns:
            All the events, and those with their uids that are not stored yet. The latter are
            the exception: an event is stored in one transaction with the samples it came from.
        """
        events: list[Event] = []
        new: list[tuple[Event, str]] = []
        for item in joined(stream):
            out = self.feed(item)
            for reading in out.readings:
                self.keeper.reading(reading, None)
            for event in out.events:
                events.append(event)
                uid = self.uid(event)
                # Samples may be missing in the store after a full disk, and then the replay
                # differs from what was said at the time: only what is later than all that is
                # stored counts as new.
                if uid not in stored and (until is None or is_later(event.at, until)):
                    new.append((event, uid))
        return events, new

    def _seen(self, out: Output) -> Output:
        if any(reading.phase == "spraying" for reading in out.readings):
            self._filled = False
        places = [reading.at for reading in out.readings] + [event.at for event in out.events]
        self.last = max([self.last, *places], key=lambda at: (at.segment, at.t_us))
        return out


def is_later(one: Position, other: Position) -> bool:
    """Board time orders positions within a segment, the segments order themselves."""
    return (one.segment, one.t_us) > (other.segment, other.t_us)
