"""How much each bin of an FM channel counts: the transmitter's spectrum against the noise in the bin."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Standard deviation of a broadcast programme's spectrum. For slow, wide modulation the spectrum follows the
#: distribution of the instantaneous frequency (Woodward's theorem; Blachman & McAlpine, IEEE Trans. COM-17, 201 (1969)
#: [citation from memory]), here taken as Gaussian with 99 % of the power within 116 kHz.
PROGRAMME_SD_HZ = 116_000.0 / 2 / 2.5758


def programme_spectrum(offsets_hz: Floats, sd_hz: float = PROGRAMME_SD_HZ) -> Floats:
    """Return the share of an FM programme's power in each bin (sums to 1 over the bins given)."""
    density = np.exp(-0.5 * np.square(offsets_hz / sd_hz))
    return np.asarray(density / density.sum())


_LEAST_TAUGHT = 5  # strong echoes before the model is left
_REMEMBERED = 31
_MODEL_SHARE = 1.0 / 3.0  # of the model that stays: a pause in the programme must not narrow the weights for ever


class StationSpectrum:
    """A station's mean spectrum: a model at first, then the median over its own last strong echoes beside it.

    The median over echoes, bin by bin: the mean would be ruled by the pauses of a programme, in which all power stands
    at the carrier. A third of the model stays.

    Parameters
    ----------
    model
        Share of the power in each bin, shape (n_bins,).
    """

    def __init__(self, model: Floats) -> None:
        self._model = model
        self._shares: deque[Floats] = deque(maxlen=_REMEMBERED)

    @property
    def spectrum(self) -> Floats:
        """Share of the power in each bin (sums to 1), shape (n_bins,)."""
        middle = np.maximum(np.median(self._shares, axis=0), 0.0) if len(self._shares) >= _LEAST_TAUGHT else self._model
        total = middle.sum()
        own = middle / total if total > 0 else self._model
        return np.asarray((1.0 - _MODEL_SHARE) * own + _MODEL_SHARE * self._model)

    def learn(self, signal: Floats) -> None:
        """Take in the bin powers of one strong echo, noise taken off, shape (n_bins,)."""
        total = float(signal.sum())
        if total > 0:
            self._shares.append(signal / total)


def power_samples(noise: Floats, samples_per_bin: float) -> float:
    """Return the independent samples behind the plain sum of bins with this noise, shape (n_bins,)."""
    total = float(np.square(noise).sum())
    return float(samples_per_bin * noise.sum() ** 2 / total) if total > 0 else samples_per_bin


@dataclass(frozen=True, slots=True)
class Weighting:
    """Weights of the bins and what they make of noise.

    Attributes
    ----------
    weights
        Shape (n_bins,); zero where a bin may not be used. The weighted noise sums to 1.
    samples_per_frame
        One over the relative variance of a frame's weighted power on noise.
    skewness
        Of the same.
    """

    weights: Floats
    samples_per_frame: float
    skewness: float


def bin_weights(spectrum: Floats, noise: Floats, usable: NDArray[np.bool_], samples_per_bin: float) -> Weighting:
    """Return the weights that show a weak signal of a known mean spectrum best: spectrum over noise squared.

    For bins of independent gamma-distributed power this maximises deflection (mean shift over standard deviation of
    the sum), by the Cauchy-Schwarz inequality. A birdie or a neighbour's splatter thereby gets small weight.

    Parameters
    ----------
    spectrum, noise, usable
        The signal's and the noise's power in each bin, and whether the bin may be used, shape (n_bins,).
    samples_per_bin
        Independent complex samples behind one bin of one frame.
    """
    good = usable & (noise > 0)
    safe = np.where(good, noise, 1.0)
    weights = np.where(good, spectrum / safe**2, 0.0)
    parts = weights * safe
    total = parts.sum()
    if not total > 0:
        return Weighting(np.zeros_like(noise), samples_per_bin, 2.0 / samples_per_bin**0.5)
    parts = parts / total
    variance = np.square(parts).sum() / samples_per_bin
    third = 2.0 * (parts**3).sum() / samples_per_bin**2
    return Weighting(weights / total, float(1.0 / variance), float(third / variance**1.5))
