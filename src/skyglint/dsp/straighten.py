"""A moving source made to stand still: the predicted phase taken off, and the power of what is left, cell by cell."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft

FloatArray = NDArray[np.float64]


class Straightener:
    """Take a predicted phase off a stream, and give spectra of short cells around what was predicted.

    Ready when constructed; a stream cut anywhere gives the same cells. Samples that do not fill a cell before a new
    stretch are dropped.

    Parameters
    ----------
    turns
        Predicted phase in turns at times in seconds, relative to the radio frequency at 0 Hz of the stream: an array
        function. Its derivative is the frequency that shall stand at 0.
    cell_s
        Length of a cell; its spectrum (Hann window) has a resolution of about ``1.5 / cell_s``.
    band_hz
        Width of the band kept around the predicted frequency.
    rate_hz
        Sample rate of the stream.
    """

    def __init__(
        self, turns: Callable[[FloatArray], FloatArray], cell_s: float, band_hz: float, rate_hz: float
    ) -> None:
        self._turns = turns
        self._rate_hz = rate_hz
        self._n = max(8, round(cell_s * rate_hz))
        half = int(band_hz / 2 / self.bin_hz)
        window = np.hanning(self._n + 1)[:-1]
        self._window = window / np.sqrt(np.sum(window**2))
        self._kept = np.arange(-min(half, self._n // 2 - 1), min(half, self._n // 2 - 1) + 1)
        self.reset()

    @property
    def bin_hz(self) -> float:
        """Distance of the kept bins."""
        return self._rate_hz / self._n

    @property
    def cell_s(self) -> float:
        """Length of a cell."""
        return self._n / self._rate_hz

    @property
    def offsets_hz(self) -> FloatArray:
        """Frequency of each kept bin relative to what was predicted, shape (m,), rising."""
        offsets: FloatArray = self._kept.astype(np.float64) * self.bin_hz
        return offsets

    def reset(self) -> None:
        """Forget an unfinished cell: a new stretch begins."""
        self._rest = np.zeros(0, np.complex64)
        self._rest_start_s = 0.0

    def process(self, samples: NDArray[np.complex64], start_s: float) -> tuple[FloatArray, NDArray[np.float32]]:
        """Take the next samples, the first at ``start_s``; return the middles (s) and powers of the cells they fill.

        Powers have shape (cells, m); times are as the phase's.
        """
        if len(self._rest) == 0:
            self._rest_start_s = start_s
        samples = np.concatenate([self._rest, samples])
        cells = len(samples) // self._n
        first_s = self._rest_start_s
        self._rest = samples[cells * self._n :]
        self._rest_start_s = first_s + cells * self.cell_s
        starts: FloatArray = first_s + self.cell_s * np.arange(cells, dtype=np.float64)
        powers: NDArray[np.float32] = np.zeros((cells, len(self._kept)), np.float32)
        for cell, start in enumerate(starts):
            turned = samples[cell * self._n : (cell + 1) * self._n] * self._oscillator(float(start))
            powers[cell] = np.abs(fft(turned)[self._kept]) ** 2
        starts += 0.5 * self.cell_s
        return starts, powers

    def _oscillator(self, start_s: float) -> NDArray[np.complex64]:
        """Return the windowed oscillator of a cell; its phase is a parabola, for cells are short."""
        within = np.arange(self._n) / self._n
        first, middle, last = self._turns(start_s + self.cell_s * np.array([0.0, 0.5, 1.0]))
        bow = 2 * (first - 2 * middle + last)
        phase = (last - first - bow) * within + bow * within**2
        oscillator: NDArray[np.complex64] = (np.exp(-2j * np.pi * phase) * self._window).astype(np.complex64)
        return oscillator


def hann_line(bins: FloatArray) -> FloatArray:
    """Return the power of a steady line in a Hann-windowed spectrum at distances in bins, 1 at its place."""
    away = np.abs(np.abs(bins) - 1.0)
    # Beside the poles at one bin the limit is half the amplitude.
    shape = np.sinc(bins) / np.where(away < 1e-6, 1.0, 1.0 - bins**2)
    power: FloatArray = np.where(away < 1e-6, 0.5, shape) ** 2
    return power


def whitened(powers: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return cell powers, shape (n, m), over the noise: to a mean of 1, in each row and across the band.

    By medians: that of exponentially distributed powers is ln 2 of their mean. Across the band only what is broader
    than an eighth of it is levelled: a source that follows its prediction stays in one bin and must not be taken out.
    """
    from scipy.ndimage import median_filter

    level: NDArray[np.float32] = powers / np.maximum(
        np.median(powers, axis=1, keepdims=True) / np.float32(np.log(2)), np.float32(1e-30)
    )
    width = max(15, powers.shape[1] // 8)
    shape = median_filter(np.median(level, axis=0), size=width, mode="nearest") / np.log(2)
    # In place: a long pass on a high frequency fills a hundred megabytes.
    level /= np.maximum(shape, 1e-6).astype(np.float32)
    return level
