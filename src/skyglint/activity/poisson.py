"""How sure a count is: exact central limits of the Poisson mean, and of a rate from a count and an exposure.

The limits are those of Garwood, Biometrika 28, 437 (1936); tables in Gehrels, ApJ 303, 336 (1986). They hold the true
mean at least as often as they say, and more often than that for small counts.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: The share of a normal distribution within one standard deviation, 68.27 %.
ONE_SIGMA = math.erf(1 / math.sqrt(2))


def poisson_limits(counts: ArrayLike, confidence: float = ONE_SIGMA) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the lower and upper central limits of the Poisson mean behind each count, in counts.

    Outside each limit lies half of the rest of the probability. The lower limit of no count at all is 0.

    Raises
    ------
    ValueError
        If a count is negative, or the confidence is not between 0 and 1.
    """
    from scipy.special import gammaincinv

    count = np.asarray(counts, dtype=np.float64)
    if (count < 0).any():
        raise ValueError("counts are not negative")
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence lies between 0 and 1, not at {confidence}")
    tail = (1 - confidence) / 2
    lower = np.where(count > 0, gammaincinv(np.maximum(count, 1.0), tail), 0.0)
    return lower, np.asarray(gammaincinv(count + 1, 1 - tail), dtype=np.float64)


def rates_per_h(
    counts: ArrayLike, exposure_s: ArrayLike, confidence: float = ONE_SIGMA
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return rate, lower and upper limit per hour of exposure; NaN where there was no exposure."""
    hours = np.asarray(exposure_s, dtype=np.float64) / 3600
    hours = np.where(hours > 0, hours, np.nan)
    lower, upper = poisson_limits(counts, confidence)
    return np.asarray(counts) / hours, lower / hours, upper / hours
