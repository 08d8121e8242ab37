"""The real-time clock: keeps time through a power cut, drifts, and may be wrong."""


class RealTimeClock:
    """Turn true time into what the module's clock shows.

    True time is in milliseconds since the start of the run; the clock in Unix time. `drift_ppm` above 0
    runs fast.
    """

    def __init__(self, unix_ms: int, drift_ppm: int = 0, is_set: bool = True) -> None:
        self.drift_ppm = drift_ppm
        self.is_set = is_set
        self._shown_ms = unix_ms
        self._true_ms = 0

    def read(self, true_ms: int) -> int:
        """Return the clock in Unix milliseconds."""
        elapsed = true_ms - self._true_ms
        return self._shown_ms + elapsed + elapsed * self.drift_ppm // 1_000_000

    def is_even(self, first_ms: int, last_ms: int) -> bool:
        """Tell whether the clock shows as much between two true times as passes."""
        return self.read(last_ms) - self.read(first_ms) == last_ms - first_ms

    def write(self, true_ms: int, unix_ms: int) -> None:
        """Set the clock."""
        self._shown_ms = unix_ms
        self._true_ms = true_ms
        self.is_set = True

    def lose(self, true_ms: int, unix_ms: int = 946_684_800_000) -> None:
        """Let the clock start over, unset, as with a flat cell; by default in the year 2000."""
        self.write(true_ms, unix_ms)
        self.is_set = False
