"""The time axis: a span of UTC, where a moment falls in it, and round ticks."""

from __future__ import annotations

from dataclasses import dataclass

#: Steps between ticks that read as round times, in seconds.
STEPS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10800, 14400)


@dataclass(frozen=True, slots=True)
class TimeScale:
    """A span of time drawn from left to right, newest at the right edge.

    Attributes
    ----------
    start_unix, end_unix
        What the left and the right edge stand for.
    """

    start_unix: float
    end_unix: float

    def share(self, unix: float) -> float:
        """Return where a moment falls, 0 at the left edge and 1 at the right, kept inside."""
        return min(1.0, max(0.0, (unix - self.start_unix) / (self.end_unix - self.start_unix)))

    def tick_step_s(self, most: int = 8) -> int:
        """Return the smallest round step that gives at most that many ticks."""
        length_s = self.end_unix - self.start_unix
        return next((step for step in STEPS_S if length_s / step <= most), STEPS_S[-1])

    def ticks(self, most: int = 8) -> list[float]:
        """Return the round times inside the span."""
        step = self.tick_step_s(most)
        first = -(-self.start_unix // step) * step
        count = int((self.end_unix - first) // step) + 1
        return [first + step * index for index in range(max(count, 0))]
