"""What the other channels did while a burst lasted: lightning, gain steps and interference hit them all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SIGMAS = 5.0
_LEAST_SHARE = 0.1  # of the burst's own excess; what is weaker may have leaked from it


@dataclass(frozen=True, slots=True)
class Company:
    """Other channels that rose together with a burst.

    Attributes
    ----------
    others_up, others
        Other channels that rose in the burst's strongest frames, and all others.
    guards_up, guards
        The same for the guards among them.
    evenness
        Median over the others of their excess, over the burst's own: 1 when all rose alike.
    """

    others_up: int
    others: int
    guards_up: int
    guards: int
    evenness: float

    @property
    def everywhere(self) -> bool:
        """Whether the burst hit (nearly) every channel, with at least three others to judge by or a guard."""
        enough = self.others >= 3 or self.guards >= 1
        return enough and self.others_up >= 0.7 * self.others and self.guards_up == self.guards

    @property
    def in_guard(self) -> bool:
        """Whether a guard rose with it."""
        return self.guards_up > 0


def burst_company(
    excess: Floats, channel: int, start: int, stop: int, samples_per_frame: Floats, guard: NDArray[np.bool_]
) -> Company:
    """Compare all channels in the strongest frames of one channel's burst with the time just before it.

    Parameters
    ----------
    excess
        Weighted power over floor minus 1, shape (n_channels, n_frames), from before the burst on.
    start, stop
        The burst within these frames.
    samples_per_frame, guard
        Independent samples behind a frame, and which channels are guards, shape (n_channels,).
    """
    own = excess[channel, start:stop]
    core = start + np.flatnonzero(own >= 0.5 * own.max())
    before = excess[:, max(start - max(len(core), 10) - 3, 0) : max(start - 3, 0)]
    base = before.mean(axis=1) if before.shape[1] >= 5 else np.zeros(len(excess))
    rise = excess[:, core].mean(axis=1) - base
    count = 1.0 / len(core) + (1.0 / before.shape[1] if before.shape[1] >= 5 else 0.0)
    sigma = np.sqrt(count / samples_per_frame + 0.003**2)
    up = (rise > _SIGMAS * sigma) & (rise > _LEAST_SHARE * rise[channel])
    other = np.arange(len(excess)) != channel
    evenness = float(np.median(rise[other]) / max(rise[channel], 1e-9)) if other.any() else 0.0
    return Company(
        int((up & other).sum()), int(other.sum()), int((up & other & guard).sum()), int((other & guard).sum()), evenness
    )
