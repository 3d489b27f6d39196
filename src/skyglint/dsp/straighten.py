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
        Length of a cell; its spectrum has a resolution of about ``1 / cell_s``.
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
        within = np.arange(self._n) / self._rate_hz
        for cell, start in enumerate(starts):
            phase = self._turns(start + within)
            turned = samples[cell * self._n : (cell + 1) * self._n] * np.exp(-2j * np.pi * (phase - np.rint(phase[0])))
            powers[cell] = np.abs(fft(turned.astype(np.complex64))[self._kept]) ** 2 / self._n
        starts += 0.5 * self.cell_s
        return starts, powers


def whitened(powers: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return cell powers, shape (n, m), over the noise: each row and then each column to a mean of 1 (by medians).

    The median of exponentially distributed powers is ln 2 of their mean.
    """
    levelled = powers / np.maximum(np.median(powers, axis=1, keepdims=True) / np.log(2), 1e-30)
    shape = np.median(levelled, axis=0) / np.log(2)
    result: NDArray[np.float32] = (levelled / np.maximum(shape, 1e-6)).astype(np.float32)
    return result
