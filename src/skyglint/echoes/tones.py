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
#: The first look is coarse: onset met within a sixth of the decay time, frequency within a sixth of 1/decay time, 2 dB
#: lost at most. What may be more is looked at again six times as finely in time and four times in frequency.
_HOPS_PER_DECAY, _PADDING = 3.0, 1.5
_COARSE = 0.62
_FINE_TIMES, _FINE_FREQUENCIES = 6, 4
_SKIRT = 0.1  # a band this much weaker than the strongest at the same time is that one's skirt
_BAND_HZ = 500.0  # the strongest cell of each such band is looked at

#: Noise bursts above an E/N0 of u come at the rate DENSITY * band * u * exp(-u): the mean number of peaks of a squared
#: Gaussian field over a plane (Adler & Taylor, "Random Fields and Geometry" (2007) ch. 15 [citation from memory]).
#: Measured for these windows on an hour of white noise.
DENSITY = 12.5
#: Of the false alarms accepted, what the windows may use up: the rest is for what they do not know of. Without this
#: margin there were 16 in 14 hours of noise where one an hour was accepted.
_MARGIN = 0.6
_FLOOR_SD = 0.025  # relative; of a median over 128 Hz of bins that scatter by 15 %, half of them independent


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
    cells = 3600.0 * band_hz * DENSITY / (_MARGIN * false_alarms_per_hour)
    level = np.log(cells)
    for _ in range(20):  # u = ln(cells u): the right side hardly changes
        # The floor's own error s multiplies the false alarms by exp((s u)^2 / 2), the mean of a log-normal law.
        level = np.log(cells * level) + (_FLOOR_SD * level) ** 2 / 2.0
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
        """Samples that a look needs before its end."""
        return max(len(scale.window) + scale.hop for scale in self._scales)

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
        self.decay_s, self._rate = decay_s, rate_hz
        self._lead = round(_LEAD_CROSSINGS * crossing_s * rate_hz)
        n = self._lead + round(_WINDOW_DECAYS * decay_s * rate_hz)
        window = forming_trail(
            (np.arange(n, dtype=np.float64) + 0.5 - self._lead) / rate_hz, crossing_s, decay_s
        ).conj()
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
        if float(power.max()) <= _COARSE * threshold:
            return []
        power = power[:, self._cells]
        highest = np.maximum.reduceat(power, self._bands, axis=1)
        strong = highest.max(axis=1)[:, None]
        breadth = (highest > np.maximum(0.7 * threshold, 0.1 * strong)).mean(axis=1)
        hits = []
        for row, band in zip(*np.nonzero(highest > np.maximum(_COARSE * threshold, _SKIRT * strong)), strict=True):
            low = self._bands[band]
            high = self._bands[band + 1] if band + 1 < len(self._bands) else power.shape[1]
            cell = low + int(np.argmax(power[row, low:high]))
            place, frequency, energy = int(begin[row]), float(self._frequency[cell]), float(power[row, cell])
            if energy <= threshold:
                place, frequency, energy = self._finely(samples, first, place, frequency)
            if energy > threshold:
                hits.append(Hit(place + self._lead, frequency, self.decay_s, energy, float(breadth[row])))
        return hits

    def _finely(
        self, samples: NDArray[np.complex64], first: int, begin: int, frequency_hz: float
    ) -> tuple[int, float, float]:
        """Return start, frequency and energy of the best window up to one hop before a cell and about its frequency."""
        n, earliest = len(self.window), max(begin - self.hop, first, 0)
        begins = np.unique(np.linspace(earliest, begin, _FINE_TIMES + 1).round().astype(np.int64))
        near = np.arange(-_FINE_FREQUENCIES // 2, _FINE_FREQUENCIES // 2 + 1) / _FINE_FREQUENCIES
        frequencies = frequency_hz + near * self._rate / self._length
        turns = np.exp(-2j * np.pi / self._rate * np.outer(np.arange(n), frequencies)).astype(np.complex64)
        rows = np.stack([samples[place - first : place - first + n] for place in begins]) * self.window
        power = np.square(np.abs(rows @ turns))
        time, cell = np.unravel_index(int(np.argmax(power)), power.shape)
        return int(begins[time]), float(frequencies[cell]), float(power[time, cell])
