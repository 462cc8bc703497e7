"""What interrupts fill and the main loop reads: pulses with the time of the last, ADC readings."""

from flowboard.ticks import U32

# The interrupt's own count must stay a small integer with one to spare: in an interrupt nothing
# may be allocated, and an integer of 2^30 would be.
_COUNT_MASK = (1 << 29) - 1
_MOST_READINGS = 16000  # of 16 bits: their sum stays a small integer too


class PulseInput:
    """Counts edges in an interrupt.

    `ticks_us` and `ticks_diff` are those of the board: they allocate nothing.
    """

    def __init__(self, ticks_us, ticks_diff, min_gap_us):
        self._ticks_us = ticks_us
        self._ticks_diff = ticks_diff
        self._min_gap_us = min_gap_us
        self._any = False
        self._count = 0
        self._ticks = 0
        self._read = 0
        self.total = 0
        self.edge_us = 0

    def on_edge(self, _pin):
        """The interrupt."""
        now = self._ticks_us()
        if self._any:
            gap = self._ticks_diff(now, self._ticks)
            # Below 0 the last edge is so long ago that the ticks have wrapped: no bounce.
            if 0 <= gap < self._min_gap_us:
                return
        self._any = True
        self._ticks = now
        self._count = (self._count + 1) & _COUNT_MASK

    def copy(self):
        """Count and time that belong together. An interrupt in between is seen and read again."""
        while True:
            count = self._count
            ticks = self._ticks
            if count == self._count:
                return count, ticks

    def take(self, count, ticks, clock):
        """Bring the totals up to a copy. The clock must have been advanced since."""
        new = (count - self._read) & _COUNT_MASK
        if new:
            self._read = count
            self.total = (self.total + new) & U32
            self.edge_us = clock.at(ticks)


class _Sums:
    def __init__(self):
        self.clear()

    def clear(self):
        self.total = 0
        self.number = 0
        self.lowest = 0
        self.highest = 0


class Readings:
    """Sum, number, lowest and highest of the ADC's readings."""

    def __init__(self):
        self._filled = _Sums()
        self._other = _Sums()

    def add(self, value):
        """The timer's interrupt."""
        sums = self._filled
        if sums.number >= _MOST_READINGS:
            return
        if sums.number == 0 or value < sums.lowest:
            sums.lowest = value
        if value > sums.highest:
            sums.highest = value
        sums.total += value
        sums.number += 1

    def take(self):
        """(sum, number, lowest, highest) since the last time.

        The two sets of sums change places in one assignment, so that an interrupt adds to the
        one or to the other and never to both.
        """
        full = self._filled
        self._filled = self._other
        self._other = full
        taken = (full.total, full.number, full.lowest, full.highest)
        full.clear()
        return taken
