"""Whether the floor itself stands high: an aircraft or a duct that the floor follows, and that flickers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_LOW_QUANTILE = 0.2
_RECENT_S = 20.0
_LEAST = 0.005  # a tenth of the drift that a night's receiver shows in 5 minutes


@dataclass(frozen=True, slots=True)
class Swell:
    """The slow signal under a burst.

    Attributes
    ----------
    raised
        The floor over its low level of the last minutes, minus 1, or how far it has moved in the last 20 seconds,
        whichever is more.
    raised_s
        For how long it has stood at more than half of that.
    ratio
        The burst's strong level over the slow signal's power; infinite where the floor stands still.
    """

    raised: float
    raised_s: float
    ratio: float


def floor_swell(log_floor: Floats, step_s: float, strong_excess: float) -> Swell:
    """Compare the last floor with the minutes before it.

    Parameters
    ----------
    log_floor
        Natural logarithm of the floor, step by step; the last is the burst's.
    strong_excess
        The burst's strong level over that floor, minus 1.
    """
    level = np.exp(log_floor - np.quantile(log_floor, _LOW_QUANTILE)) - 1.0
    recent = level[-max(round(_RECENT_S / step_s), 1) :]
    raised = max(float(level[-1]), float(np.ptp(recent)))
    if raised < _LEAST:
        return Swell(max(raised, 0.0), 0.0, np.inf)
    return Swell(raised, float((level > raised / 2).sum() * step_s), strong_excess * (1.0 + raised) / raised)
