"""The window behind every hop of the filter bank: a sinc under a Kaiser taper, several hops long."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Length of the window in hops. Four hops keep a strong neighbour far down and lose almost nothing in scatter.
FOLDS = 4
#: Kaiser shape and the sinc's width in bins, chosen by a scan of both for the least scatter of a channel's power with
#: leakage below -90 dB from three bins away (tests/dsp/test_prototype.py measures both).
KAISER_BETA = 7.0
SINC_WIDTH = 1.0


def prototype_window(n_bins: int) -> NDArray[np.float64]:
    """Return the window of a bank of ``n_bins`` bins, shape (FOLDS * n_bins,).

    Its energy is 1 / n_bins, so that the bins of white noise add up to the noise's power, and those of a tone to the
    tone's power in the mean over its place between two bins.
    """
    length = FOLDS * n_bins
    time_hops = (np.arange(length) - (length - 1) / 2) / n_bins
    window = np.sinc(time_hops * SINC_WIDTH) * np.kaiser(length, KAISER_BETA)
    scaled: NDArray[np.float64] = window / np.sqrt(n_bins * np.sum(window**2))
    return scaled


def independent_samples(window: NDArray[np.float64], n_bins: int, hops: int) -> float:
    """Return the equivalent independent samples of one bin over ``hops`` hops, within a wide sum over bins.

    On white noise the sum of B neighbouring bins over the hops has relative variance 1 / (B * returned value). The
    sum's variance is the sum of the squared correlations between all pairs of bins and hops (for Gaussian noise the
    covariance of two powers is the squared modulus of the amplitudes' covariance).
    """
    length = len(window)
    pairs = 0.0
    for lag in range(-(FOLDS - 1), FOLDS):
        if abs(lag) >= hops:
            continue
        shift = abs(lag) * n_bins
        product = window[: length - shift] * window[shift:]
        # Correlation of bin k at hop 0 with bin k + m at hop `lag` is the transform of the product at m bins.
        folded = np.zeros(n_bins)
        padded = np.concatenate([np.zeros(shift), product])
        folded += padded.reshape(FOLDS, n_bins).sum(axis=0)
        correlation = np.abs(np.fft.fft(folded)) ** 2
        pairs += (hops - abs(lag)) / hops * float(np.sum(correlation))
    single = float(np.sum(window**2)) ** 2
    return hops * single / pairs
