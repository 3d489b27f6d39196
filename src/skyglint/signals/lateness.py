"""How late samples arrive by the computer's clock, compared with their count: the watch over a live receiver's time.

A sample arrives after it was taken: by the buffers of receiver, driver and network, which vary. The least delay within
a while is the steady one; when *that* moves, either samples were lost on the way, or the two clocks drift apart.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable


class Lateness:
    """The least lateness within a sliding window.

    Parameters
    ----------
    window_s
        Length of the window, in seconds of samples.
    """

    def __init__(self, window_s: float) -> None:
        self._window_s = window_s
        # Rising in lateness from left to right: the first is the least, and later ones take over as it leaves.
        self._least: deque[tuple[float, float]] = deque()
        self._first_s: float | None = None

    @property
    def least_s(self) -> float:
        """The least lateness so far, at most a window ago; 0, what the first sample was timed by, before any."""
        return self._least[0][1] if self._least else 0.0

    def add(self, at_s: float, lateness_s: float) -> float | None:
        """Note one arrival and return the least lateness, or ``None`` until the window is full.

        Parameters
        ----------
        at_s
            Time of the sample by count, rising from call to call.
        lateness_s
            Its arrival by the computer's clock, minus its time by count.
        """
        if self._first_s is None:
            self._first_s = at_s
        while self._least and self._least[-1][1] >= lateness_s:
            self._least.pop()
        self._least.append((at_s, lateness_s))
        while self._least[0][0] <= at_s - self._window_s:
            self._least.popleft()
        return self._least[0][1] if at_s - self._first_s >= self._window_s else None


def start_of(arrivals: Iterable[tuple[int, float]], sample_rate_hz: float) -> float:
    """Return the time of the first sample, from the arrival that was least late.

    Parameters
    ----------
    arrivals
        Samples received so far, and the clock (POSIX seconds) when the last of them had arrived.
    """
    return min(at_unix - n_samples / sample_rate_hz for n_samples, at_unix in arrivals)
