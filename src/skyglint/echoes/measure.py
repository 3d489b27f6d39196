"""What a burst measures: start, peak, duration, energy, and its picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.decibels import power_to_db
from skyglint.echoes.echo import Snippet

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Strength:
    """Peak and energy of a burst.

    Attributes
    ----------
    peak_frame
        Frame of the highest power within the burst.
    peak_snr
        Its power minus the floor over the floor, linear.
    energy_snr_s
        Sum of the same over the burst times the frame length.
    """

    peak_frame: int
    peak_snr: float
    energy_snr_s: float


def burst_strength(excess: Floats, frame_s: float) -> Strength:
    """Return peak and energy of a burst from its frames' power over the floor minus 1, shape (n_frames,)."""
    peak = int(np.argmax(excess))
    return Strength(peak, float(excess[peak]), float(excess.sum() * frame_s))


def picture(
    start_unix: float,
    step_s: float,
    excess: Floats,
    offsets_hz: Floats,
    spectra: NDArray[np.float32],
    bin_floor: Floats,
) -> Snippet:
    """Return the picture of an echo: power over floor and every bin's power over its own floor, in decibels.

    Parameters
    ----------
    excess
        Power over floor minus 1, shape (n,).
    spectra
        Bin powers, shape (n, n_bins).
    bin_floor
        Noise of every bin, shape (n_bins,).
    """
    safe = np.where(bin_floor > 0, bin_floor, np.inf)
    return Snippet(
        start_unix,
        step_s,
        power_to_db(1.0 + excess, floor_db=-30.0).astype(np.float32),
        offsets_hz,
        power_to_db(spectra / safe, floor_db=-30.0).astype(np.float32),
    )
