"""The power of every channel over its floor, step by step: what the search reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.floor import MIDMEAN_VARIANCE, BinFloor, FloorState, FloorTracker, quiet_steps, step_level
from skyglint.dsp.frames import ChannelGrid
from skyglint.echoes.weights import Weighting, bin_weights, power_samples

Floats = NDArray[np.float64]

#: Steps between two looks at the noise in the bins and the weights that follow from it.
STEPS_PER_WEIGHTING = 120


@dataclass(frozen=True, slots=True)
class LaneReadings:
    """Some steps of all channels.

    Attributes
    ----------
    excess
        Weighted power over its floor minus 1, shape (n_channels, n_frames).
    power_excess
        The same for the plain power in the channel.
    floor
        Plain power of the floor relative to full scale, shape (n_channels, n_frames).
    states
        The floor as it was predicted for each step.
    """

    excess: Floats
    power_excess: Floats
    floor: Floats
    states: tuple[FloorState, ...]


class Lanes:
    """Weighted power and floor of all channels of one stretch.

    Parameters
    ----------
    grids, spectra
        Each channel's grid and its signal's mean spectrum over the grid.
    first
        Bin powers of the warm-up, for each channel shape (n_steps, n_frames, n_bins).
    frames_per_step
        Frames in a whole step.
    """

    def __init__(
        self,
        grids: Sequence[ChannelGrid],
        spectra: Sequence[Floats],
        first: Sequence[NDArray[np.float32]],
        frames_per_step: int,
    ) -> None:
        self._grids = grids
        self._spectra = list(spectra)
        self._frames = frames_per_step
        self._weightings: list[Weighting] = []
        self._steps = 0
        everything = [np.ones(len(channel), dtype=bool) for channel in first]
        levels, sd = self._begin(first, everything), np.sqrt(self._reading_variance())
        n = len(grids)
        quiet = [quiet_steps(levels[n + i], float(sd[n + i])) for i in range(n)]
        levels = self._begin(first, quiet)
        start = [np.median(level[quiet[row % n]]) for row, level in enumerate(levels)]
        # Weighted and plain power have floors of their own: what is added to the noise may be of another shape.
        self._tracker = FloorTracker(np.array(start), 0.02, self._reading_variance())

    @property
    def plain_samples(self) -> Sequence[float]:
        """Independent samples behind a frame of each channel's plain power."""
        return self._plain_samples

    @property
    def weightings(self) -> Sequence[Weighting]:
        """Weights of each channel's bins, as they stand."""
        return self._weightings

    @property
    def steps(self) -> int:
        """Steps read so far."""
        return self._steps

    def bin_floor(self, channel: int) -> Floats:
        """Return the noise in each bin of a channel when the weights were set, relative to a weighted floor of 1."""
        return self._noise[channel]

    def read(self, spectra: Sequence[NDArray[np.float32]]) -> LaneReadings:
        """Read whole steps.

        Parameters
        ----------
        spectra
            Bin powers of each channel, shape (n_steps, frames_per_step, n_bins); no steps beyond the next multiple of
            `STEPS_PER_WEIGHTING`. One last, shorter step at the end of a stretch may stand alone.
        """
        weighted, plain = self._powers(spectra)
        n_channels, n_steps, n_frames = weighted.shape
        whole = n_frames == self._frames
        levels = self._log_levels(weighted, plain) if whole else np.full((2 * n_channels, n_steps), np.nan)
        means = [_step_spectra(channel) for channel in spectra] if whole else []
        states, floor = [], np.empty((2 * n_channels, n_steps, n_frames))
        phase = (np.arange(n_frames) - (self._frames - 1) / 2) / self._frames
        for step in range(n_steps):
            state = self._tracker.predict()
            states.append(state.part(slice(n_channels)))
            floor[:, step] = np.exp(state.log_level[:, None] + state.slope[:, None] * phase)
            if whole:
                used = self._tracker.update(levels[:, step])[:n_channels]
                self._learn(used, weighted[:, step], states[-1], [mean[step] for mean in means])
        self._count(n_steps)
        floor = floor.reshape(2 * n_channels, -1)
        return LaneReadings(
            weighted.reshape(n_channels, -1) / floor[:n_channels] - 1.0,
            plain.reshape(n_channels, -1) / floor[n_channels:] - 1.0,
            floor[n_channels:],
            tuple(states),
        )

    def forget(self, channel: int, start: int, stop: int) -> None:
        """Take out of a channel's floor what steps ``start`` to ``stop``, counted back from the next, taught it."""
        for row in (channel, len(self._grids) + channel):
            self._tracker.rewind(row, start, stop)

    def set_spectrum(self, channel: int, spectrum: Floats) -> None:
        """Replace the mean spectrum of a channel's signal, from the next look at the weights on."""
        self._spectra[channel] = spectrum

    def _begin(self, first: Sequence[NDArray[np.float32]], quiet: Sequence[NDArray[np.bool_]]) -> Floats:
        """Set noise and weights from the quiet steps among the first; return the log levels of all of them."""
        self._bins = [BinFloor(_step_spectra(channel)[chosen]) for channel, chosen in zip(first, quiet, strict=True)]
        self._weigh()
        return self._log_levels(*self._powers(first))

    def _weigh(self) -> None:
        self._noise = [bins.power for bins in self._bins]
        self._plain_samples = [
            power_samples(noise[grid.usable], grid.samples_per_frame)
            for noise, grid in zip(self._noise, self._grids, strict=True)
        ]
        self._weightings = [
            bin_weights(spectrum, noise, grid.usable, grid.samples_per_frame)
            for grid, spectrum, noise in zip(self._grids, self._spectra, self._noise, strict=True)
        ]
        self._columns = [
            np.stack([weighting.weights, grid.usable], axis=1).astype(np.float32)
            for weighting, grid in zip(self._weightings, self._grids, strict=True)
        ]

    def _powers(self, spectra: Sequence[NDArray[np.float32]]) -> tuple[Floats, Floats]:
        """Return weighted and plain power, each of shape (n_channels, n_steps, n_frames)."""
        both = np.stack([channel @ columns for channel, columns in zip(spectra, self._columns, strict=True)])
        both = both.astype(np.float64)
        return both[..., 0], both[..., 1]

    def _log_levels(self, weighted: Floats, plain: Floats) -> Floats:
        """Return the robust log levels, weighted powers first, then plain ones, shape (2 * n_channels, n_steps)."""
        levels = step_level(np.concatenate([weighted, plain]), self._samples())
        return np.asarray(np.log(np.maximum(levels, 1e-30)))

    def _samples(self) -> Floats:
        """Return the independent samples behind a frame: of each weighted power, then of each plain power."""
        return np.array([weighting.samples_per_frame for weighting in self._weightings] + self._plain_samples)

    def _reading_variance(self) -> Floats:
        return np.asarray(MIDMEAN_VARIANCE / (self._frames * self._samples()))

    def _learn(self, used: NDArray[np.bool_], weighted: Floats, state: FloorState, means: list[Floats]) -> None:
        mean = weighted.mean(axis=1)
        spread = 4.0 * np.sqrt(self._reading_variance()[: len(mean)] + state.variance)
        quiet = used & (np.abs(np.log(np.maximum(mean, 1e-30)) - state.log_level) < spread)
        for channel in np.flatnonzero(quiet):
            self._bins[channel].update(means[channel], float(state.log_level[channel]))

    def _count(self, n_steps: int) -> None:
        self._steps += n_steps
        if self._steps % STEPS_PER_WEIGHTING == 0:
            self._weigh()
            self._tracker.set_reading_variance(self._reading_variance())


def _step_spectra(spectra: NDArray[np.float32]) -> Floats:
    return np.asarray(spectra.mean(axis=1, dtype=np.float64))
