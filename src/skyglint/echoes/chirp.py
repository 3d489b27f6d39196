"""The frequency and the rate of a fast chirp, by maximum likelihood on its samples."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, fftfreq, next_fast_len

_LEAST, _MOST = 0.4, 2.5  # of the first guess
_MOST_RATES = 600
_AT_ONCE = 64


def chirp_line(
    samples: NDArray[np.complex64], sample_rate_hz: float, centre_s: float, span_s: float, rate_hz_s: float
) -> tuple[float, float]:
    """Return the frequency at ``centre_s`` and its rate that make the most of a burst's energy add up.

    For a burst in white noise the maximum over both of the dechirped periodogram is the likelihood's (Abatzoglou, IEEE
    Trans. AES 22, 708 (1986) [citation from memory]).

    Parameters
    ----------
    samples
        The burst, shape (n,).
    span_s
        How long it is about: rates 1 / span_s^2 apart are told apart.
    rate_hz_s
        First guess; rates of its sign from 0.4 to 2.5 times as fast are tried.
    """
    count = int(np.clip(np.ceil(abs(rate_hz_s) * (_MOST - _LEAST) * 2.0 * span_s**2), 8, _MOST_RATES))
    rates = rate_hz_s * np.linspace(_LEAST, _MOST, count)
    since = (np.arange(len(samples)) + 0.5) / sample_rate_hz - centre_s
    length = next_fast_len(2 * len(samples))
    frequency = fftfreq(length, 1 / sample_rate_hz)
    best = (-1.0, 0.0, rate_hz_s)
    for begin in range(0, count, _AT_ONCE):
        some = rates[begin : begin + _AT_ONCE]
        turned = samples * np.exp(-1j * np.pi * some[:, None] * since**2).astype(np.complex64)
        power = np.abs(fft(turned, length, axis=1))
        row, cell = np.unravel_index(int(np.argmax(power)), power.shape)
        best = max(best, (float(power[row, cell]), float(frequency[cell]), float(some[row])))
    return best[1], best[2]
