"""Lines on their way out: nobody waits for the host, and a line goes out whole or not at all."""

_MOST_WAITING = 4


class Outbox:
    def __init__(self):
        self._lines = []
        self._at = 0  # bytes of the first line that are out
        self.dropped = 0

    def offer(self, line):
        """Take a line if there is room; False if it is dropped."""
        if len(self._lines) >= _MOST_WAITING:
            self.dropped += 1
            return False
        self._lines.append(line)
        return True

    def push(self, write):
        """Hand over what `write` takes now. It returns how many bytes it took, None for none."""
        while self._lines:
            line = self._lines[0]
            took = write(memoryview(line)[self._at :])
            if not took:
                return
            self._at += took
            if self._at < len(line):
                return
            self._lines.pop(0)
            self._at = 0
