"""The noise in each bin of a narrow-band spectrum, its steady lines included, from its first looks on."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

Floats = NDArray[np.float64]

_STEP = 0.03  # scatter of the estimate 15 %, 23 looks to double
_STRONG = 6.0  # times the floor: noise alone comes so high once in 400 looks
_HOLD_LOOKS = 60  # the longest echo lasts 30 s, looks come twice a second
_FALL = 0.5  # of the logarithm in one look, when a line has gone
_LINE_RATIO = 1.9  # over the smooth floor: six standard deviations of a bin's estimate
_CLEAR_RATIO = 4.0  # of a line beyond doubt; a weaker one is too weak to be taken for an echo
_SKIRT_BINS = 8  # on either side of a line, where the block's window leaks
_MOVE_BINS = 2  # how far a drifting line may move between two looks
_QUIET_SHARE, _QUIET_RATIO = 0.2, 1.25  # of the first looks a fifth are without a burst; these and what is like them


class LineFloor:
    """The floor of one spectrum, look by look.

    Each look moves every bin's estimate up or down by a fixed small factor, towards its median. A look far above it is
    held to be a burst and left out, until it has lasted longer than any echo; a steady line that moves to the next
    bins, or stops, is followed at once.

    Parameters
    ----------
    power
        First estimate of each bin's mean power, shape (n_bins,).
    median_over_mean
        Of one look's power on noise: ln 2 for a single periodogram, nearly 1 for a mean of many.

    Notes
    -----
    Bins may stand in the order of a transform: the last is a neighbour of the first.
    """

    def __init__(self, power: Floats, median_over_mean: float = float(np.log(2.0))) -> None:
        self._ratio = median_over_mean
        self._log_median = np.log(np.maximum(power * median_over_mean, 1e-30))
        self._held = np.zeros(len(power), dtype=np.int64)

    @property
    def power(self) -> Floats:
        """Mean power of each bin, shape (n_bins,)."""
        return np.asarray(np.exp(self._log_median) / self._ratio)

    def update(self, look: Floats, lines: NDArray[np.bool_] | None = None) -> None:
        """Take in one spectrum, shape (n_bins,); ``lines`` tells where clear lines stand now, which may move."""
        distance = np.log(np.maximum(look, 1e-30)) - self._log_median
        strong = distance > np.log(_STRONG / self._ratio)
        self._held = np.where(strong, self._held + 1, 0)
        move = np.where(strong, 0.0, _STEP * np.sign(distance))
        move = np.where(self._held > _HOLD_LOOKS, distance, move)
        if lines is not None and lines.any():
            move = np.where(strong, np.minimum(distance, self._drift(lines)), move)
            move = np.where(lines & (distance < -np.log(_STRONG)), -_FALL, move)
        self._log_median = self._log_median + move

    def _drift(self, lines: NDArray[np.bool_]) -> Floats:
        """Return how far each bin may rise because a line of its neighbourhood may have moved there."""
        nearest = _highest_about(np.where(lines, self._log_median, -np.inf), _MOVE_BINS)
        return np.asarray(np.maximum(nearest + np.log(2.0) - self._log_median, 0.0))


def _highest_about(values: NDArray[Any], reach: int) -> NDArray[Any]:
    """Return the highest value within ``reach`` bins on either side; the last bin is a neighbour of the first."""
    rows = np.lib.stride_tricks.sliding_window_view(np.pad(values, reach, mode="wrap"), 2 * reach + 1)
    return np.asarray(rows.max(axis=1))


def smooth_floor(power: Floats, width: int) -> Floats:
    """Return the median power of every ``width`` bins, straight between their middles, shape (n_bins,)."""
    rows = max(len(power) // width, 1)
    middle = np.median(power[: rows * width].reshape(rows, -1), axis=1)
    return np.interp(np.arange(len(power)), (np.arange(rows) + 0.5) * width, middle)


def steady_lines(power: Floats, smooth: Floats) -> NDArray[np.bool_]:
    """Return which bins hold lines, their neighbours included."""
    lines = power > _LINE_RATIO * smooth
    return np.asarray(lines | np.roll(lines, 1) | np.roll(lines, -1))


def clear_lines(power: Floats, smooth: Floats) -> NDArray[np.bool_]:
    """Return which bins hold lines beyond doubt: many echoes one after another do not raise a bin so far."""
    return np.asarray(power > _CLEAR_RATIO * smooth)


def quiet_looks(totals: Floats) -> NDArray[np.bool_]:
    """Return which looks hold no burst: those of the least total power, and what is hardly stronger."""
    base = np.quantile(totals, _QUIET_SHARE, method="lower")
    return np.asarray(totals <= _QUIET_RATIO * base)


def first_floor(looks: Floats, quiet: NDArray[np.bool_], width: int) -> Floats:
    """Return the floor after the first looks: smooth but for lines, which stand in three quarters of them.

    Parameters
    ----------
    looks
        Single periodograms, shape (n_looks, n_bins).
    quiet
        Those without a burst, shape (n_looks,), at least one.
    width
        Bins over which the noise is the same.
    """
    mean = looks[quiet].mean(axis=0)
    count = float(quiet.sum())
    smooth = smooth_floor(mean, width) * count / float(gammaincinv(count, 0.5))
    often = np.quantile(looks, 0.25, axis=0, method="lower")
    lines = (often > _CLEAR_RATIO * smooth) & (mean > _CLEAR_RATIO * smooth)
    about = _highest_about(lines, _SKIRT_BINS)
    seen = np.minimum(mean, np.median(looks, axis=0) / np.log(2.0))
    return np.asarray(np.where(about, np.maximum(seen, smooth), smooth))
