"""The windows that the search lays over a channel's power, and the threshold of each.

Flat windows from 30 ms to 30 s in steps of a third, and windows of two steps (one high, one low) that are the best
two-level stand-in for a sharp rise with an exponential decay: the best flat window loses 0.45 dB on such a burst, the
best two steps 0.17 dB.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv

Floats = NDArray[np.float64]

FRAMES_PER_HOUR = 360_000

#: Best two-level approximation of exp(-x) by least squares: edges in units of the power's decay time, and the ratio of
#: the two heights (maximised numerically: it keeps 92.5 % of the deflection squared, a flat window 81.5 %).
_DECAY_EDGES = (0.678, 1.934)
_DECAY_HEIGHTS = 2.513


@dataclass(frozen=True, slots=True)
class Windows:
    """A set of windows of one or two levels; every field has shape (n_windows,), shortest first.

    Attributes
    ----------
    first, length
        Frames of the first level, and of the whole window.
    high, low
        The two levels; over the whole window they sum to 1, so that a window's reading is a mean power.
    """

    first: NDArray[np.int64]
    length: NDArray[np.int64]
    high: Floats
    low: Floats

    def moment(self, order: int) -> Floats:
        """Return the sum over each window of its level to the power ``order``."""
        return np.asarray(self.first * self.high**order + (self.length - self.first) * self.low**order)


def search_windows(shortest: int = 3, longest: int = 3000, step: float = 4 / 3) -> Windows:
    """Return the flat and the decaying windows between two lengths in frames, each length at most once of a kind."""
    count = int(np.ceil(np.log(longest / shortest) / np.log(step))) + 1
    flat = np.unique(np.round(np.geomspace(shortest, longest, count)).astype(np.int64))
    decays = np.geomspace(2.0, longest / 8.0, int(np.ceil(np.log(longest / 16.0) / np.log(step**2))) + 1)
    first = np.maximum(np.round(_DECAY_EDGES[0] * decays).astype(np.int64), 1)
    length = np.maximum(np.round(_DECAY_EDGES[1] * decays).astype(np.int64), first + 2)
    scale = first * _DECAY_HEIGHTS + (length - first)
    order = np.argsort(np.concatenate([flat, length]), kind="stable")
    return Windows(
        np.concatenate([flat, first])[order],
        np.concatenate([flat, length])[order],
        np.concatenate([1.0 / flat, _DECAY_HEIGHTS / scale])[order],
        np.concatenate([np.zeros(len(flat)), 1.0 / scale])[order],
    )


def skewed_normal_isf(probability: Floats, skewness: Floats) -> Floats:
    """Return the value that a Pearson type III variate of zero mean and unit variance exceeds with a probability.

    A weighted sum of chi-square variates with the same three moments has this upper tail very nearly (E. S. Pearson,
    Biometrika 46, 364 (1959) [citation from memory]); for equal weights it is exact, which is Urkowitz, Proc. IEEE 55,
    523 (1967).

    Examples
    --------
    >>> n = 2000.0  # independent complex samples: threshold over mean 1.109911 for a false alarm in a million
    >>> bool(abs(1 + skewed_normal_isf(np.array(1e-6), np.array(2 / n**0.5)) / n**0.5 - 1.109911) < 2e-6)
    True
    """
    shape = 4.0 / np.square(skewness)
    return np.asarray((gammainccinv(shape, probability) - shape) / np.sqrt(shape))


#: Chances for a false alarm that one window length offers in its own duration, as if they were independent: sliding it
#: frame by frame, and its neighbours in length, counted together over all windows. Measured: see the tests.
_LOOKS = 6.0


def window_probabilities(windows: Windows, false_alarms_per_hour: float) -> Floats:
    """Return the chance that each window may exceed its threshold at one given moment.

    Every window gets the same share of the false alarms an hour.
    """
    share = false_alarms_per_hour / len(windows.length)
    return np.asarray(np.minimum(share * windows.length / FRAMES_PER_HOUR / _LOOKS, 1e-2))


@dataclass(frozen=True, slots=True)
class WindowStatistics:
    """What noise does in each window, for each channel; shapes (n_channels, n_windows).

    Attributes
    ----------
    variance
        Of a window's reading (mean power over the floor, minus 1).
    sigmas
        Threshold in units of the standard deviation, the skewness of the distribution included.
    """

    variance: Floats
    sigmas: Floats


def window_statistics(
    windows: Windows, samples_per_frame: Floats, skewness_per_frame: Floats, false_alarms_per_hour: float
) -> WindowStatistics:
    """Return variance and threshold of every window for channels with given statistics of one frame.

    Parameters
    ----------
    samples_per_frame
        One over the relative variance of a frame's weighted power, shape (n_channels,).
    skewness_per_frame
        Skewness of a frame's weighted power, shape (n_channels,).
    """
    second, third = windows.moment(2), windows.moment(3)
    skewness = skewness_per_frame[:, None] * (third / second**1.5)[None, :]
    probability = window_probabilities(windows, false_alarms_per_hour)
    sigmas = skewed_normal_isf(probability[None, :], skewness)
    return WindowStatistics(second[None, :] / samples_per_frame[:, None], sigmas)
