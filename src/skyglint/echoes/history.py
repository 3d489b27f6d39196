"""The last half minute of everything, so that a burst can be measured when it closes."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


class History:
    """Rows of readings by frame, of which the last ``keep`` stay; before the first frame stand zeros.

    Parameters
    ----------
    shape
        Shape of one frame's readings.
    keep
        Frames to keep.
    dtype
        Of the readings.
    """

    def __init__(self, shape: tuple[int, ...], keep: int, dtype: type = np.float64) -> None:
        self._data: NDArray[Any] = np.zeros((*shape, 2 * keep), dtype=dtype)
        self._keep = keep
        self._used = keep
        self._end = 0

    @property
    def end(self) -> int:
        """Number of the frame after the last."""
        return self._end

    def append(self, values: NDArray[Any]) -> None:
        """Add frames, along the last axis."""
        n = values.shape[-1]
        if self._used + n > self._data.shape[-1]:
            tail = self._data[..., self._used - self._keep : self._used].copy()
            if self._keep + n > self._data.shape[-1]:
                self._data = np.zeros((*self._data.shape[:-1], 2 * (self._keep + n)), dtype=self._data.dtype)
            self._data[..., : self._keep] = tail
            self._used = self._keep
        self._data[..., self._used : self._used + n] = values
        self._used += n
        self._end += n

    def view(self, start: int, stop: int) -> NDArray[Any]:
        """Return frames ``start`` to ``stop`` (half open) without a copy; they must still be kept."""
        shift = self._used - self._end
        return self._data[..., start + shift : stop + shift]


class SpectraHistory:
    """The bin powers of the last frames, kept as they came, without a copy."""

    def __init__(self, keep: int) -> None:
        self._keep = keep
        self._blocks: list[tuple[int, tuple[NDArray[np.float32], ...]]] = []
        self._end = 0

    def append(self, spectra: tuple[NDArray[np.float32], ...]) -> None:
        """Add a block: for each channel shape (n_frames, n_bins)."""
        self._blocks.append((self._end, spectra))
        self._end += len(spectra[0])
        while len(self._blocks) > 1 and self._blocks[1][0] <= self._end - self._keep:
            self._blocks.pop(0)

    def view(self, channel: int, start: int, stop: int) -> NDArray[np.float32]:
        """Return frames ``start`` to ``stop`` (half open) of a channel, shape (n_frames, n_bins)."""
        parts = [
            spectra[channel][max(start - first, 0) : max(stop - first, 0)]
            for first, spectra in self._blocks
            if first < stop and first + len(spectra[channel]) > start
        ]
        return np.concatenate(parts) if parts else np.zeros((0, 0), dtype=np.float32)
