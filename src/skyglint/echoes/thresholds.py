"""Thresholds of the search windows, step by step: noise, the floor's own error, and the receiver's measured wander."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.floor import FloorState
from skyglint.echoes.scales import Windows, WindowStatistics

Floats = NDArray[np.float64]

#: Steps over which the spread of the readings is learnt, the least and for each step of the window's length.
_SPREAD_MEMORY = 120.0
_SPREAD_MEMORY_PER_STEP = 30.0
_CLIP = 4.0  # two standard deviations: what stands higher may be a burst
_CLIPPED_MEAN = 0.920  # mean of the square of a standard normal variate clipped there

#: The floor's wander is known from the last minutes only, so the tail at five standard deviations is Student's rather
#: than normal: the variance that the wander adds counts for twice. Nothing on a steady receiver, where it adds nothing.
_WANDER_DOUBT = 2.0


class Thresholds:
    """Thresholds for readings taken over the running floor.

    A long window is held against the floor that was predicted before it began, so that a long weak burst cannot hide
    in the floor that it lifted itself.
    """

    def __init__(self, windows: Windows, n_channels: int, frames_per_step: int) -> None:
        self._steps_back = np.maximum(np.ceil(windows.length / frames_per_step).astype(np.int64), 1)
        self._states = np.zeros((5, 0, n_channels))
        self._spread = np.ones((n_channels, len(windows.length)))
        self._lessons: list[tuple[Floats, Floats]] = []
        self._memory = _SPREAD_MEMORY + _SPREAD_MEMORY_PER_STEP * self._steps_back

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
        floor_variance = variance + slope_variance * ahead**2 + _WANDER_DOUBT * wander * steps / 3.0
        self._states = self._states[:, -int(self._steps_back.max()) :]
        drift = drift.transpose(0, 2, 1)
        expected = statistics.variance[None] + floor_variance.transpose(0, 2, 1)
        self._lessons += list(zip(drift, expected, strict=True))
        return np.asarray(drift + statistics.sigmas[None] * np.sqrt(expected * self._spread[None]))

    def learn(self, readings: Floats) -> None:
        """Take in what the windows read at the end of each of the last steps, bursts taken out.

        Where they spread wider than noise and floor explain (a receiver whose gain wanders, a fading signal under the
        target), the thresholds rise by as much; a burst counts for two standard deviations at most.

        Parameters
        ----------
        readings
            Shape (n_steps, n_channels, n_windows), of the steps that `next` was asked for since the last lesson.
        """
        for reading, (drift, variance) in zip(readings, self._lessons, strict=True):
            square = np.minimum((reading - drift) ** 2 / (variance * self._spread), _CLIP)
            self._spread = np.maximum(self._spread * (1.0 + (square - _CLIPPED_MEAN) / self._memory), 1.0)
        self._lessons.clear()
