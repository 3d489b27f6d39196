"""Does a channel's power rise when a reflection is expected? The expected shape against itself at other times."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

#: Fewer independent other times than this cannot tell anything.
_LEAST_OTHERS = 3.0


def energy_along(power: FloatArray, expected: FloatArray) -> tuple[float, float]:
    """Return how far the power follows the expected shape, and how often chance does as well.

    The shape is laid over the power where it is expected and, shifted around the recording, everywhere else. The
    statistic is the first sum in deviations of the others; its chance is Student's, with as many degrees of freedom
    as shifts that do not overlap. A receiver whose gain wanders makes the others scatter, and so is allowed for.

    Parameters
    ----------
    power
        Power of the channel at evenly spaced times, shape (n,), linear.
    expected
        Expected power of the reflection at these times, shape (n,), any unit; 0 where there is none.

    Returns
    -------
    tuple
        Statistic and false-alarm probability; NaN and 1 when the recording is too short for any comparison.
    """
    from scipy.stats import t

    weight = expected.sum() ** 2 / max(float(np.sum(expected**2)), 1e-300)
    others = len(power) / max(weight, 1.0) - 1.0
    if others < _LEAST_OTHERS or not expected.any():
        return math.nan, 1.0
    level = power / np.median(power) - 1.0
    # Short bursts (meteors among them) shall not decide: nothing counts beyond five deviations.
    spread = 1.4826 * float(np.median(np.abs(level)))
    level = np.clip(level, -5 * spread, 5 * spread)
    shape = expected / expected.sum()
    sums = np.fft.irfft(np.fft.rfft(level) * np.conj(np.fft.rfft(shape)), len(level))
    away = np.minimum(np.arange(len(sums)), len(sums) - np.arange(len(sums))) >= weight
    mean, deviation = float(sums[away].mean()), float(sums[away].std())
    statistic = (float(sums[0]) - mean) / max(deviation * math.sqrt(1 + 1 / others), 1e-300)
    return statistic, float(t.sf(statistic, others))
