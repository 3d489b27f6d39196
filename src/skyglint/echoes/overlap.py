"""Whether a burst is more than one trail: sharp rises after the first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: A rise this quick is another trail if it makes up most of the power that follows and is high over what was before:
#: two glints of one trail that beat at 1.5 Hz, as fast as winds make them, rise by 0.28 of their range in that time.
_ONSET_S, _AHEAD_S = 0.06, 0.3
_ONSET_SHARE, _AHEAD_SHARE = 0.3, 0.7
_FIRST_ONSET_S = 0.1
#: Another trail comes when the first has lost a fifth of its power; the rise of a slow meteor's trail only rises.
_FALLEN = 0.8
_SIGMAS = 6.0


def later_onsets(excess: Floats, frame_s: float, frame_sd: Floats) -> int:
    """Count the sharp rises within a burst after its own: the trails that overlap the first.

    Parameters
    ----------
    excess
        Frames' power over the floor minus 1, shape (n_frames,).
    frame_sd
        Standard deviation of each, signal included, shape (n_frames,).
    """
    smooth = (excess[1:] + excess[:-1]) / 2.0
    lag, first = max(round(_ONSET_S / frame_s), 1), round(_FIRST_ONSET_S / frame_s)
    if len(smooth) <= first + lag:
        return 0
    before, after = smooth[:-lag], smooth[lag:]
    noise = _SIGMAS * frame_sd[lag:-1] / np.sqrt(2.0)
    reach = round(_AHEAD_S / frame_s)
    ahead = np.lib.stride_tricks.sliding_window_view(np.pad(smooth, (0, reach)), reach + 1).max(axis=1)[: len(before)]
    peak = np.maximum.accumulate(before)
    needed = np.maximum(_ONSET_SHARE * peak, _AHEAD_SHARE * ahead)
    frames = np.flatnonzero(((after - before > np.maximum(needed, noise)) & (before < _FALLEN * peak))[first:])
    return int(len(frames) > 0) + int((np.diff(frames) > 2 * lag).sum())


def noise_like_sd(excess: Floats, samples_per_frame: float) -> Floats:
    """Return the standard deviation of frames of a noise-like signal: a gamma variable's (Urkowitz 1967)."""
    return np.asarray((1.0 + np.maximum(excess, 0.0)) / np.sqrt(samples_per_frame))


def tone_sd(energy: Floats) -> Floats:
    """Return the standard deviation of a tone's energy over the noise density in a frame: noncentral chi-square's."""
    return np.asarray(np.sqrt(1.0 + 2.0 * np.maximum(energy, 0.0)))
