"""The shape of a burst in time: how it rises, where its energy lies, how it fades."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Envelope:
    """Shape of a burst's power.

    Attributes
    ----------
    strong
        The strong level: the 90th percentile of the smoothed power over the floor minus 1.
    onset_s, rise_s
        From the start of the burst to a fifth and to half of the strong level.
    middle
        Where half of the energy has come, as a share of the duration: 0.5 for what is symmetric, small for a decay.
    fades
        Times that the power falls to less than half and comes back, per second.
    depth
        Standard deviation of the smoothed power over its mean, in the stretch of time that holds the middle 80 % of
        the energy.
    """

    strong: float
    onset_s: float
    rise_s: float
    middle: float
    fades_hz: float
    depth: float


def smoothed(excess: Floats, samples_per_frame: float) -> tuple[Floats, int]:
    """Return a running mean just long enough that noise is a tenth of the burst's mean, and its length in frames.

    At most an eighth of the burst is averaged.
    """
    mean = max(float(excess.mean()), 1e-6)
    wanted = (10.0 * (1.0 + mean) / mean) ** 2 / samples_per_frame
    length = int(np.clip(np.ceil(wanted), 1, max(len(excess) // 8, 1)))
    total = np.concatenate([[0.0], np.cumsum(excess)])
    return (total[length:] - total[:-length]) / length, length


def burst_envelope(excess: Floats, frame_s: float, samples_per_frame: float) -> Envelope:
    """Describe a burst from its frames' power over the floor minus 1, shape (n_frames,)."""
    smooth, length = smoothed(excess, samples_per_frame)
    strong = float(np.quantile(smooth, 0.9))
    onset, rise = (int(np.argmax(smooth >= share * strong)) for share in (0.2, 0.5))
    energy = np.cumsum(np.maximum(excess, 0.0))
    whole = max(float(energy[-1]), 1e-12)
    low, middle, high = np.searchsorted(energy, np.array([0.1, 0.5, 0.9]) * whole)
    core = smooth[max(low - length // 2, 0) : max(high - length // 2, low + 1)]
    depth = float(core.std() / max(core.mean(), 1e-12)) if len(core) > 1 else 0.0
    return Envelope(
        strong,
        (onset + 0.5) * frame_s,
        (rise + 0.5) * frame_s,
        float((middle + 0.5) / len(excess)),
        _fades(smooth) / (len(excess) * frame_s),
        depth,
    )


def _fades(power: Floats) -> int:
    """Count the dips: falls below half of the last maximum that are followed by a rise to twice the dip's depth."""
    count, high, low, falling = 0, -np.inf, np.inf, False
    for value in power:
        if falling:
            low = min(low, value)
            if value > 2.0 * max(low, 0.02 * high):
                count, falling, high = count + 1, False, value
        else:
            high = max(high, value)
            if value < 0.5 * high:
                falling, low = True, value
    return count
