"""A continuous carrier."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.simulate.multiplex import unit_phasor


class Tone:
    """A carrier whose phase is exact at any sample, with a random walk of the phase if it has a line width.

    A random walk of variance 2 pi w t gives a Lorentzian line of full width w at half power (common in oscillator
    theory).
    """

    def __init__(self, rate_hz: float, frequency_hz: float, linewidth_hz: float, random: np.random.Generator) -> None:
        self._rate_hz, self._frequency_hz, self._random = rate_hz, frequency_hz, random
        self._sd_rad = np.sqrt(2 * np.pi * linewidth_hz / rate_hz)
        self._walk_rad = random.uniform(0, 2 * np.pi)

    def read(self, start: int, n: int) -> NDArray[np.complex64]:
        """Return ``n`` samples from sample ``start`` on (counted from the recording's start)."""
        turns = (start + np.arange(n)) * (self._frequency_hz / self._rate_hz)
        phase = 2 * np.pi * (turns - np.floor(turns)) + self._walk_rad
        if self._sd_rad:
            walk = np.cumsum(self._random.normal(0, self._sd_rad, n))
            phase += walk
            self._walk_rad += float(walk[-1])
        return unit_phasor(phase)
