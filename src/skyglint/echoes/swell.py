"""Whether the floor itself stands high: an aircraft or a duct that the floor follows, and that flickers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_LOW_QUANTILE = 0.2
_RECENT_S = 20.0
_FLOOR_SD = 0.003
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


def unrest(before: Floats, frame_s: float, samples_per_frame: float, strong_excess: float) -> float:
    """Return how far the power wandered just before a burst, over the burst's strong level: 0 on a quiet floor.

    The lower quartile over quarters of a second, so that trails do not count that fill up to three quarters of the time
    before; 0 where less than two seconds are known. A fragment of an aircraft's beat, or of an opening, comes after
    others like it; a trail comes alone.

    Parameters
    ----------
    before
        Power over the floor minus 1 before the burst, shape (n_frames,).
    """
    length = max(round(0.25 / frame_s), 1)
    blocks = before[: len(before) // length * length].reshape(-1, length).mean(axis=1)
    if len(blocks) < 8:
        return 0.0
    # The lower quartile of a squared normal variable is 0.1015 of its mean (chi-square tables, one degree of freedom);
    # the noise is taken off twice, because the quartile itself scatters.
    square = float(np.quantile(np.square(blocks), 0.25)) / 0.1015 - 2.0 * (
        1.0 / (length * samples_per_frame) + _FLOOR_SD**2
    )
    return float(np.sqrt(max(square, 0.0)) / max(strong_excess, 1e-6))
