"""The lines of a switching power supply: multiples of one spacing, pulsing with the mains, drifting together."""

from __future__ import annotations

import numpy as np

from skyglint.simulate.arrival import Arrival
from skyglint.simulate.events import Comb

#: A line's SNR is stated in this bandwidth, that of an FM channel.
SNR_BANDWIDTH_HZ = 200_000.0
#: Width of a line at half power, and the rate at which it pulses: twice a mains frequency of 50 Hz (common practice).
LINE_WIDTH_HZ = 200.0
PULSE_HZ = 100.0


def line_frequencies_hz(comb: Comb, low_hz: float, high_hz: float) -> list[float]:
    """Return the multiples of the spacing between two frequencies, before any drift."""
    first, last = int(np.ceil(low_hz / comb.spacing_hz)), int(np.floor(high_hz / comb.spacing_hz))
    return [number * comb.spacing_hz for number in range(first, last + 1)]


def line_arrival(comb: Comb) -> Arrival:
    """Return how a line comes and goes; the power of the gain is its SNR in ``SNR_BANDWIDTH_HZ``."""
    t = np.linspace(0, comb.duration_s, max(int(comb.duration_s * 1000), 2))
    pulsing = (0.6 + 0.4 * np.cos(2 * np.pi * PULSE_HZ * t)).astype(np.complex64)
    return Arrival(comb.start_s, t[1], pulsing, comb.drift_hz_s * t).scaled(10 ** (comb.peak_snr_db / 10))
