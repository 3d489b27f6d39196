"""The shape of a burst in frequency: a programme's hump, the receiver's whole noise lifted, or a few lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Colour:
    """How a burst's power lies over the bins of its channel.

    Attributes
    ----------
    programme, flat
        Share of the burst's spectrum (squared, noise in each bin as the unit) that the transmitter's mean spectrum
        explains, and that a lift of everything by the same factor explains.
    line_share
        Share of the burst's power in its strongest two neighbouring bins.
    line_offset_hz
        Where these are.
    significance
        Size of the burst's spectrum over the noise in it, in standard deviations.
    """

    programme: float
    flat: float
    line_share: float
    line_offset_hz: float
    significance: float


def burst_colour(
    spectra: NDArray[np.float32],
    noise: Floats,
    spectrum: Floats,
    usable: NDArray[np.bool_],
    offsets_hz: Floats,
    samples_per_bin: float,
) -> Colour:
    """Describe the mean spectrum of some frames of a burst.

    Parameters
    ----------
    spectra
        Bin powers, shape (n_frames, n_bins).
    noise, spectrum
        Floor of each bin at the time, and the transmitter's mean spectrum, shape (n_bins,).
    usable, offsets_hz
        As in the channel's grid.
    samples_per_bin
        Independent samples behind one bin of one frame.
    """
    good = usable & (noise > 0)
    level = noise[good]
    excess = spectra[:, good].mean(axis=0, dtype=np.float64) / level - 1.0
    sigma = np.sqrt(1.0 / (samples_per_bin * len(spectra)))
    size = max(float(excess @ excess) - len(excess) * sigma**2, 1e-12)

    def explained(template: Floats) -> float:
        return float(np.clip(max(float(excess @ template), 0.0) ** 2 / float(template @ template) / size, 0.0, 1.0))

    power = excess * level
    pairs = power[:-1] + power[1:] if len(power) > 1 else power
    best = int(np.argmax(pairs))
    return Colour(
        explained(spectrum[good] / level),
        explained(np.ones(len(excess))),
        float(np.clip(pairs[best] / max(float(power.sum()), 1e-30), 0.0, 1.0)),
        float(offsets_hz[good][best] + offsets_hz[good][min(best + 1, len(power) - 1)]) / 2.0,
        float(np.sqrt(size / len(excess)) / sigma),
    )
