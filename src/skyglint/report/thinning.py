"""Series made short enough for a page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray


def thinned(values: NDArray[np.floating], most: int, reduce: Callable[..., Any]) -> tuple[NDArray[np.float32], int]:
    """Return at most that many readings, and how many of the old ones stand behind each.

    Parameters
    ----------
    values
        Shape (n,); NaN is left out, and a group of nothing else gives NaN.
    reduce
        A reduction that skips NaN and takes an ``axis``, such as ``np.nanmax``.
    """
    size = max(1, -(-len(values) // most))
    groups = np.pad(values, (0, -len(values) % size), constant_values=np.nan).reshape(-1, size)
    known = np.isfinite(groups).any(axis=1)
    short = np.full(len(groups), np.nan, dtype=np.float32)
    short[known] = reduce(groups[known], axis=1)
    return short, size
