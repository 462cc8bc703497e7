"""Lamp and buzzer: what the host asked for, for as long as it keeps asking."""

HOLD_US = 90000000
_SECOND_US = 1000000
_FAST_US = 250000

OFF, SLOW, FAST, STEADY = range(4)


class Alarm:
    def __init__(self):
        self.lamp = OFF
        self.buzzer = OFF
        self._age_us = 0
        self._phase_us = 0

    def ask(self, lamp, buzzer):
        if (lamp, buzzer) != (self.lamp, self.buzzer):
            self._phase_us = 0  # a new pattern begins with its light
        self.lamp = lamp
        self.buzzer = buzzer
        self._age_us = 0

    def advance(self, step_us):
        """Time goes on. After 90 s without a word of the host it is gone, and both go off."""
        self._phase_us = (self._phase_us + step_us) % _SECOND_US
        if self._age_us <= HOLD_US:
            self._age_us += step_us
        if self._age_us > HOLD_US:
            self.lamp = OFF
            self.buzzer = OFF

    def levels(self):
        """Whether lamp and buzzer are on now."""
        return self._on(self.lamp), self._on(self.buzzer)

    def _on(self, pattern):
        if pattern == SLOW:
            return self._phase_us < _SECOND_US // 2
        if pattern == FAST:
            return self._phase_us % _FAST_US < _FAST_US // 2
        return pattern == STEADY
