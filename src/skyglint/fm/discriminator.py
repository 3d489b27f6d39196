"""The discriminator: instantaneous frequency of a channel, and how much each moment of it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft

#: Time over which the burst's power is averaged for weights: one RDS bit, much shorter than any fade of a trail.
SMOOTHING_S = 1.0 / 1187.5


@dataclass(frozen=True, slots=True)
class Multiplex:
    """The demodulated multiplex of one burst.

    Attributes
    ----------
    frequency_hz
        Instantaneous frequency relative to the channel's centre, shape (n,), hertz.
    rate_hz
        Readings a second.
    power
        Power of the burst, smoothed over a bit, relative to its mean, shape (n,). Above threshold the noise density
        of the discriminator is inversely proportional to it.
    spectrum
        ``rfft`` of the frequency, mean removed, padded with zeros to ``n_fft`` readings.
    n_fft
        Length of that transform.
    """

    frequency_hz: NDArray[np.float32]
    rate_hz: float
    power: NDArray[np.float32]
    spectrum: NDArray[np.complex64]
    n_fft: int

    @property
    def duration_s(self) -> float:
        """Length of the burst."""
        return len(self.frequency_hz) / self.rate_hz


def demodulate(channel: NDArray[np.complex64], rate_hz: float) -> Multiplex:
    """Return the multiplex of a channel's samples, shape (n,), as the phase step from sample to sample."""
    steps = channel[1:] * np.conj(channel[:-1])
    frequency_hz = np.angle(steps).astype(np.float32) * np.float32(rate_hz / (2 * np.pi))
    level = np.abs(steps)
    power = smooth(level, max(1, round(SMOOTHING_S * rate_hz)))
    mean = float(np.mean(level)) or 1.0
    n_fft = next_fast_len(len(steps), real=True)
    spectrum = rfft(frequency_hz - np.mean(frequency_hz), n_fft)
    return Multiplex(frequency_hz, rate_hz, power / np.float32(mean), spectrum, n_fft)


def smooth(values: NDArray[np.float32], length: int) -> NDArray[np.float32]:
    """Return the running mean over ``length`` readings, centred, shortened at the ends."""
    total = np.concatenate(([0.0], np.cumsum(values, dtype=np.float64)))
    middle = np.arange(len(values))
    low = np.maximum(middle - length // 2, 0)
    high = np.minimum(middle - length // 2 + length, len(values))
    means: NDArray[np.float32] = ((total[high] - total[low]) / (high - low)).astype(np.float32)
    return means
