"""Raising the sample rate by a whole factor with overlapped Fourier blocks (overlap-save)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Share of a block that overlaps its neighbour, half on either side, and is thrown away.
OVERLAP = 0.25


def band_edge(n: int, pass_share: float, stop_share: float = 1.0) -> NDArray[np.float32]:
    """Return the low-pass gain over ``n`` Fourier bins (standard order): 1, then a raised cosine, then 0.

    ``pass_share`` and ``stop_share`` are parts of half the sample rate.
    """
    share = np.abs(np.fft.fftfreq(n)) * 2
    ramp = np.clip((share - pass_share) / (stop_share - pass_share), 0, 1)
    return np.asarray((1 + np.cos(np.pi * ramp)) / 2, dtype=np.float32)


class AudioUpsampler:
    """Real signals in rows, raised by ``factor``; streaming, and delayed by an eighth of a block.

    Parameters
    ----------
    rows
        Number of signals.
    factor
        Samples out for each sample in.
    pass_share, stop_share
        The part of half the input rate that passes whole, and from where on nothing passes.
    n
        Block length at the input, a multiple of 8.
    """

    def __init__(self, rows: int, factor: int, pass_share: float, stop_share: float = 1.0, n: int = 2048) -> None:
        self.hop = n - int(n * OVERLAP)
        self._factor, self._n = factor, n
        self._gain = band_edge(n, pass_share, stop_share)[: n // 2 + 1] * np.float32(factor)
        self._recent = np.zeros((rows, n), dtype=np.float32)

    def process(self, audio: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take the next ``hop`` samples of each row, shape (rows, hop); return (rows, hop * factor)."""
        import scipy.fft

        self._recent[:, : -self.hop] = self._recent[:, self.hop :]
        self._recent[:, -self.hop :] = audio
        spectrum = scipy.fft.rfft(self._recent) * self._gain
        raised = scipy.fft.irfft(spectrum, n=self._n * self._factor)
        guard = (self._n - self.hop) // 2 * self._factor
        return np.ascontiguousarray(raised[:, guard : guard + self.hop * self._factor], dtype=np.float32)
