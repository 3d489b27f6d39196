"""Whether a burst beats at a rate that sweeps evenly, as an aircraft's reflection does with the direct signal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_LEAST_S, _LONGEST_S = 4.0, 40.0
_MEAN_S = 1.0  # what is slower than this is the swell, not the beat
_SWEEPS_HZ_S = np.concatenate([[0.0], np.geomspace(0.04, 2.0, 80)])
_CERTAIN = 25.0  # energy over that of noise; the strongest of all cells on noise alone reaches about ln(80 x 3000) + 3


@dataclass(frozen=True, slots=True)
class Beat:
    """The steadiest beat in a burst.

    Attributes
    ----------
    sweep_hz_s
        How fast its rate changes.
    fastest_hz
        Greatest rate within the burst.
    share
        Share of the fading (what is faster than a second, noise taken off) that it explains: near 1 for one that sweeps
        evenly, little for irregular fading, 0 where noise could have made it.
    """

    sweep_hz_s: float
    fastest_hz: float
    share: float


def burst_beat(excess: Floats, frame_s: float, samples_per_frame: float) -> Beat | None:
    """Find the beat whose rate changes evenly and that explains most of a burst's fading; None if it is too short.

    The power's departure from its running mean is multiplied by exp(-i pi s t^2) for many sweeps s; a beat of that
    sweep becomes a line in the spectrum (the matched filter for a chirp).

    Parameters
    ----------
    excess
        Frames' power over the floor minus 1, shape (n_frames,).
    """
    excess = excess[: round(_LONGEST_S / frame_s)]
    if len(excess) * frame_s < _LEAST_S:
        return None
    departure = _departure(excess, round(_MEAN_S / 2 / frame_s))
    n = len(departure)
    time = (np.arange(n) - (n - 1) / 2) * frame_s
    power = np.abs(np.fft.fft(departure * np.exp(-1j * np.pi * _SWEEPS_HZ_S[:, None] * time**2), axis=1)) ** 2 / n
    power += np.roll(power, 1, axis=1) + np.roll(power, -1, axis=1)
    row, column = np.unravel_index(int(np.argmax(power)), power.shape)
    line = float(power[row, column]) * samples_per_frame
    whole = float(departure @ departure) * samples_per_frame - n
    sweep = float(_SWEEPS_HZ_S[row])
    ends = np.fft.fftfreq(n, frame_s)[column] + sweep * time[[0, -1]]
    share = 2.0 * (line - 3.0) / max(whole, 1e-9) if line > _CERTAIN else 0.0
    return Beat(sweep, float(np.abs(ends).max()), float(np.clip(share, 0.0, 1.0)))


def _departure(excess: Floats, half: int) -> Floats:
    """Return the power's departure from its running mean, noise of variance 1 / samples_per_frame."""
    length = 2 * half + 1
    total = np.concatenate([[0.0], np.cumsum(excess)])
    mean = (total[length:] - total[:-length]) / length
    return np.asarray((excess[half : len(excess) - half] - mean) / (1.0 + np.maximum(mean, 0.0)))
