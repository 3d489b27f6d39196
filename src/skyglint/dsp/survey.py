"""What the converter did: level, clipping, and the image that unequal I and Q arms leave."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.signals.block import Encoding

#: Frames between two updates of the image estimate, the updates it remembers, the least image worth taking off
#: (-66 dB), and how many standard errors an estimate must stand out by.
UPDATE_FRAMES = 100
UPDATES_REMEMBERED = 30
LEAST_IMAGE = 5e-4
SIGNIFICANT = 5.0
#: Above this the arms are not unequal but one is missing, and nothing can be mended.
MOST_IMAGE = 0.3


def level_of(sums: NDArray[np.float64], encoding: Encoding) -> NDArray[np.float32]:
    """Return the power of frames relative to full scale, the converter's offset included, shape (n_frames,)."""
    i, q, ii, qq, _, count, _ = sums.T
    raw = ii + qq - 2 * encoding.zero * (i + q) + 2 * count * encoding.zero**2
    return np.asarray(raw / count / encoding.full_scale**2, dtype=np.float32)


class ImageEstimate:
    """A running estimate of c in x = z + c conj(z), with z the true signal.

    For proper signals E[z z] = 0, so that E[x x] = 2 c E[z conj(z)] to first order; the converter's offset is taken
    off first. Updated every ``UPDATE_FRAMES`` frames counted from the start of the stretch, so that cutting the
    stream elsewhere changes nothing.
    """

    def __init__(self) -> None:
        self._pending = np.zeros(7)
        self._moments = np.zeros(3)
        self._updates = 0
        self.value = 0j

    def add(self, sums: NDArray[np.float64]) -> None:
        """Take in the sums of one frame or several, shape (7,) each summed."""
        self._pending += sums

    def update(self) -> None:
        """Renew ``value`` from what came since the last update."""
        i, q, ii, qq, iq, count, _ = self._pending
        self._pending = np.zeros(7)
        if count == 0:
            return
        i_var, q_var = ii / count - (i / count) ** 2, qq / count - (q / count) ** 2
        covariance = iq / count - i * q / count**2
        self._updates += 1
        weight = 1.0 / min(self._updates, UPDATES_REMEMBERED)
        self._moments += weight * (np.array([i_var - q_var, 2 * covariance, 2 * (i_var + q_var)]) - self._moments)
        real, imag, norm = self._moments
        estimate = complex(real, imag) / norm if norm > 0 else 0j
        # For a white signal each arm of c has standard error 1 / sqrt(4 n); a signal narrower by ten needs ten times n,
        # hence the generous margin.
        least = max(LEAST_IMAGE, SIGNIFICANT / np.sqrt(4 * count / weight))
        self.value = estimate if least < abs(estimate) < MOST_IMAGE else 0j
