"""Thresholds of the search windows, step by step: noise, the floor's own error, and the receiver's measured wander."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.floor import FloorState
from skyglint.echoes.scales import Windows, WindowStatistics

Floats = NDArray[np.float64]

_WANDER_MEMORY_STEPS = 1200.0  # 10 minutes
_WANDER_PRIOR_STEPS = 600.0  # a receiver is held to be steady until it has shown otherwise
_CLIP_SIGMAS = 3.0


class Thresholds:
    """Thresholds for readings taken over the running floor.

    A long window is held against the floor that was predicted before it began, so that a long weak burst cannot hide
    in the floor that it lifted itself.
    """

    def __init__(self, windows: Windows, n_channels: int, frames_per_step: int) -> None:
        self._steps_back = np.maximum(np.ceil(windows.length / frames_per_step).astype(np.int64), 1)
        self._states = np.zeros((5, 0, n_channels))
        self._spread = np.ones((n_channels, len(windows.length)))

    def next(self, states: Sequence[FloorState], statistics: WindowStatistics) -> Floats:
        """Return the thresholds of the next steps, shape (n_steps, n_channels, n_windows)."""
        added = np.stack(
            [
                np.stack([state.log_level, state.slope, state.variance, state.slope_variance, state.wander])
                for state in states
            ],
            axis=1,
        )
        known = self._states.shape[1]
        self._states = np.concatenate([self._states, added], axis=1)
        now = known + np.arange(len(states))
        begin = np.maximum(now[:, None] - self._steps_back[None, :] + 1, 0)
        steps = (now[:, None] - begin + 1)[..., None]  # (n_steps, n_windows, 1)
        total = np.concatenate([np.zeros((1, added.shape[2])), np.cumsum(self._states[0], axis=0)])
        level, slope, variance, slope_variance, wander = self._states[:, begin]
        ahead = (steps - 1) / 2.0
        drift = level + slope * ahead - (total[now + 1][:, None] - total[begin]) / steps
        floor_variance = variance + slope_variance * ahead**2 + wander * steps / 3.0
        self._states = self._states[:, -int(self._steps_back.max()) :]
        spread = np.sqrt(statistics.variance[None] * self._spread[None] + floor_variance.transpose(0, 2, 1))
        return np.asarray(drift.transpose(0, 2, 1) + statistics.sigmas[None] * spread)
