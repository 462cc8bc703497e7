"""What is left in the tank, by the volume that went out."""

from __future__ import annotations

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.stretch import Stretch
from flowlog.rig.model import Rig
from flowlog.units import show


class TankLevel:
    """Volume left, from the last fill minus what the meter counted.

    Full at the start, unless the stream says at its beginning what was left over.
    """

    def __init__(self, rig: Rig, book: AlertBook) -> None:
        self._rig = rig
        self._book = book
        self.left_m3: float | None = rig.tank.volume_m3 if rig.tank else None
        self._next: list[float] = []

    def fill(self, at: Position, volume_m3: float) -> None:
        """The tank holds `volume_m3` from here on."""
        if self._rig.tank is None:
            return
        self.left_m3 = volume_m3
        if volume_m3 > self._rig.tank.low_m3:
            volume = show(volume_m3, "volume", self._rig.units)
            self._book.clear("tank_low", at, f"Tank filled: {volume}.")

    def step(self, now: Moment) -> None:
        if self._rig.tank is None or self.left_m3 is None:
            return
        self.left_m3 = max(0.0, self.left_m3 - now.step.volume_m3)
        if self.left_m3 < self._rig.tank.low_m3 and not self._book.is_open("tank_low"):
            left = show(self.left_m3, "volume", self._rig.units)
            text = f"About {left} left in the tank, counted from the last fill."
            self._book.open("tank_low", now.at, now.at, text, Size(self.left_m3, "m3"))

    def look(self, ahead: Stretch) -> int:
        """How many ticks of many pass without a turn; see `flowlog.monitor.rules.stretch`."""
        self._next = []
        left = self.left_m3
        if self._rig.tank is None or left is None:
            return len(ahead)
        said = self._book.is_open("tank_low")
        for i, volume in enumerate(ahead.steps.volume_m3.tolist()):
            left = max(0.0, left - volume)
            if left < self._rig.tank.low_m3 and not said:
                return i
            self._next.append(left)
        return len(ahead)

    def go_on(self) -> list[float]:
        """Go on behind the ticks that the last `look` saw; return what was left after each."""
        if self._next:
            self.left_m3 = self._next[-1]
        return self._next
