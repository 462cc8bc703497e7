"""The microsecond ticks of the board, which wrap at 2^30, and the clock of 32 bits made of them."""

MASK = (1 << 30) - 1
_HALF = 1 << 29
U32 = 0xFFFFFFFF


def diff(later, earlier):
    """Ticks from `earlier` to `later`, -2^29..2^29-1: good for 8.9 minutes either way."""
    return ((later - earlier + _HALF) & MASK) - _HALF


def add(ticks, us):
    return (ticks + us) & MASK


class Clock:
    """Microseconds since the start, wrapping at 2^32. `advance` at least every 8 minutes."""

    def __init__(self, now):
        self.us = 0
        self._ticks = now & MASK

    def advance(self, now):
        """Go on to `now`; returns the microseconds since the last time."""
        step = diff(now & MASK, self._ticks)
        if step <= 0:
            return 0
        self._ticks = now & MASK
        self.us = (self.us + step) & U32
        return step

    def at(self, ticks):
        """The clock at an earlier moment, not more than 8 minutes ago."""
        return (self.us - diff(self._ticks, ticks & MASK)) & U32
