"""The search for decaying tones in white noise: matched windows of several lengths over the time-frequency plane.

A window is the wave of a trail that forms and then decays: a sharp exponential would lose 1 dB and more where the trail
decays about as fast as it forms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, fftfreq, next_fast_len

from skyglint.echoes.tone_fit import forming_trail

Floats = NDArray[np.float64]

#: Amplitude decay times of the windows, and the times in which their meteors cross half a Fresnel zone (0.7 km at 20 to
#: 70 km/s). Between two decay times 0.14 dB is lost at most: 4ab/(a+b)^2 at a ratio of 1.45. How fast a trail forms
#: matters where it decays as quickly.
WINDOWS_S = (
    (0.02, 0.010),
    (0.02, 0.022),
    (0.042, 0.012),
    (0.042, 0.030),
    (0.087, 0.016),
    (0.18, 0.016),
    (0.38, 0.016),
    (0.8, 0.016),
)
_LEAD_CROSSINGS = 1.2  # what a trail scatters earlier is little
_WINDOW_DECAYS = 2.0  # length of a window in its decay times: 98 % of the energy
_HOPS_PER_DECAY = 6.0  # onset met within a twelfth of the decay time
_PADDING = 2.5  # frequency met within a tenth of 1/decay time
_BAND_HZ = 500.0  # the strongest cell of each such band is looked at

#: Noise bursts above an E/N0 of u come at the rate DENSITY * band * u * exp(-u): the mean number of peaks of a squared
#: Gaussian field over a plane (Adler & Taylor, "Random Fields and Geometry" (2007) ch. 15 [citation from memory]).
#: Measured for these windows on an hour of white noise.
DENSITY = 8.6


@dataclass(frozen=True, slots=True)
class Hit:
    """A cell above the threshold.

    Attributes
    ----------
    sample
        When the meteor passed the specular point, were it a trail: where the window's decay begins.
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
    cells = 3600.0 * band_hz * DENSITY / false_alarms_per_hour
    level = np.log(cells)
    for _ in range(20):  # u = ln(cells u): the right side hardly changes
        level = np.log(cells * level)
    return float(level)


class ToneBank:
    """Windows of all lengths for one rate and band.

    Parameters
    ----------
    rate_hz, half_band_hz
        Rate of the samples, and half the width of the band.
    """

    def __init__(self, rate_hz: float, half_band_hz: float) -> None:
        self._rate = rate_hz
        self._scales = [_Scale(*window, rate_hz, half_band_hz) for window in WINDOWS_S]

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
    def __init__(self, decay_s: float, crossing_s: float, rate_hz: float, half_band_hz: float) -> None:
        self.decay_s = decay_s
        self._lead = round(_LEAD_CROSSINGS * crossing_s * rate_hz)
        n = self._lead + round(_WINDOW_DECAYS * decay_s * rate_hz)
        window = forming_trail((np.arange(n) + 0.5 - self._lead) / rate_hz, crossing_s, decay_s).conj()
        self.window = (window / np.sqrt(np.vdot(window, window).real)).astype(np.complex64)
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
                    int(begin[row]) + self._lead,
                    float(self._frequency[cell]),
                    self.decay_s,
                    float(power[row, cell]),
                    float(breadth[row]),
                )
            )
        return hits
