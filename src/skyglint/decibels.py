"""Decibels, converted in one place, with the reference and the floor stated."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def power_to_db(power: ArrayLike, reference: float = 1.0, floor_db: float = -200.0) -> NDArray[np.float64]:
    """Return 10 log10(power / reference), never below ``floor_db``; NaN stays NaN.

    Examples
    --------
    >>> power_to_db([1.0, 100.0, 0.0])
    array([   0.,   20., -200.])
    """
    ratio = np.asarray(power, dtype=np.float64) / reference
    level_db: NDArray[np.float64] = 10.0 * np.log10(np.maximum(ratio, 10.0 ** (floor_db / 10.0)))
    return level_db
