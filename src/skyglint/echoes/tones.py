"""The search for decaying tones in white noise: matched windows of several lengths over the time-frequency plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, fftfreq, next_fast_len

Floats = NDArray[np.float64]

#: Amplitude decay times of the windows. Between two of them 0.5 dB is lost at most: 4ab/(a+b)^2 at a ratio of sqrt 2
#: is 0.13 dB, at the ends (0.8 s in the window of 0.64 s) less.
DECAYS_S = (0.02, 0.04, 0.08, 0.16, 0.32, 0.64)
_WINDOW_DECAYS = 2.0  # length of a window in its decay times: 98 % of the energy
_HOPS_PER_DECAY = 5.0  # onset met within a tenth of the decay time
_PADDING = 2.0  # frequency met within a twentieth of 1/decay time
_BAND_HZ = 500.0  # the strongest cell of each such band is looked at

#: Cells that are as good as independent, for each hertz and second of one window length. Measured: see the tests.
_CELLS = 13.0


@dataclass(frozen=True, slots=True)
class Hit:
    """A cell above the threshold.

    Attributes
    ----------
    sample
        Start of the window.
    frequency_hz
        Of the cell, relative to the channel.
    decay_s
        Decay time of the window.
    energy
        Energy in the window over the noise density, E/N0, linear; on noise exponentially distributed with mean 1.
    breadth
        Share of the channel's 500 Hz bands that stood out at the same time: one band for a tone, all for a crash.
    """

    sample: int
    frequency_hz: float
    decay_s: float
    energy: float
    breadth: float = 0.0


def tone_threshold(false_alarms_per_hour: float, band_hz: float) -> float:
    """Return the E/N0 that noise exceeds as often as is accepted, over all windows and cells."""
    cells = 3600.0 * band_hz * _CELLS * len(DECAYS_S)
    return float(np.log(cells / false_alarms_per_hour))


class ToneBank:
    """Windows of all lengths for one rate and band.

    Parameters
    ----------
    rate_hz, half_band_hz
        Rate of the samples, and half the width of the band.
    """

    def __init__(self, rate_hz: float, half_band_hz: float) -> None:
        self._rate = rate_hz
        self._scales = [_Scale(decay, rate_hz, half_band_hz) for decay in DECAYS_S]

    @property
    def reach(self) -> int:
        """Samples of the longest window."""
        return max(len(scale.window) for scale in self._scales)

    def search(self, samples: NDArray[np.complex64], first: int, start: int, stop: int, threshold: float) -> list[Hit]:
        """Return the hits of all windows that end in samples ``start`` to ``stop``.

        Parameters
        ----------
        samples
            White noise of unit variance and signals; ``first`` is the number of the first of them, at least `reach`
            before ``start``.
        """
        hits: list[Hit] = []
        for scale in self._scales:
            hits += scale.search(samples, first, start, stop, threshold)
        return hits


class _Scale:
    def __init__(self, decay_s: float, rate_hz: float, half_band_hz: float) -> None:
        self.decay_s = decay_s
        n = round(_WINDOW_DECAYS * decay_s * rate_hz)
        window = np.exp(-(np.arange(n) + 0.5) / (decay_s * rate_hz))
        self.window = (window / np.sqrt(np.square(window).sum())).astype(np.float32)
        self.hop = max(round(decay_s * rate_hz / _HOPS_PER_DECAY), 1)
        self._length = next_fast_len(round(_PADDING * n))
        frequency = fftfreq(self._length, 1 / rate_hz)
        self._cells = np.argsort(frequency)[np.abs(np.sort(frequency)) <= half_band_hz]
        self._frequency = frequency[self._cells]
        per_band = max(round(_BAND_HZ * self._length / rate_hz), 1)
        self._bands = np.arange(0, len(self._cells), per_band)

    def search(self, samples: NDArray[np.complex64], first: int, start: int, stop: int, threshold: float) -> list[Hit]:
        n = len(self.window)
        # Windows begin at multiples of the hop, counted from the start of the stretch.
        begin = np.arange(-(-(start - n) // self.hop) * self.hop, stop - n, self.hop)
        begin = begin[begin >= 0]
        if len(begin) == 0:
            return []
        rows = np.lib.stride_tricks.sliding_window_view(samples, n)[begin - first]
        transform = fft(rows * self.window, self._length, axis=1)
        power = transform.real**2 + transform.imag**2
        if float(power.max()) <= threshold:
            return []
        power = power[:, self._cells]
        highest = np.maximum.reduceat(power, self._bands, axis=1)
        strong = highest.max(axis=1)
        breadth = (highest > np.maximum(0.7 * threshold, 0.1 * strong)[:, None]).mean(axis=1)
        hits = []
        for row, band in zip(*np.nonzero(highest > threshold), strict=True):
            low = self._bands[band]
            high = self._bands[band + 1] if band + 1 < len(self._bands) else power.shape[1]
            cell = low + int(np.argmax(power[row, low:high]))
            hits.append(
                Hit(
                    int(begin[row]),
                    float(self._frequency[cell]),
                    self.decay_s,
                    float(power[row, cell]),
                    float(breadth[row]),
                )
            )
        return hits
