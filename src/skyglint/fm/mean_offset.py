"""The mean frequency of a burst, with its standard error: the only Doppler that a programme lets through.

The mean of the discriminator over the burst is the carrier's offset, disturbed by the low notes of the programme and,
at low signal-to-noise ratios, by clicks. It is the sum of the transmitter's own offset, the receiver's clock error
and the Doppler shift; only differences from the same station's median mean anything.
"""

from __future__ import annotations

import math

import numpy as np

from skyglint.fm.discriminator import Multiplex

#: Shift of a 98 MHz station by the drift of a trail: 6 Hz for 50 m/s, under 60 Hz at the most (two-way, 90 m/s, both
#: ends in line with the wind). A mean that is less certain than this says nothing about a trail.
USEFUL_BELOW_HZ = 50.0
_TAPERS = 7
_WORKING_RATE_HZ = 1_000.0


def mean_offset(multiplex: Multiplex) -> tuple[float, float]:
    """Return the mean frequency of a burst and its standard error, in hertz; NaN both when too uncertain to use.

    Thomson's estimate of a line at 0 Hz (Proc. IEEE 70, 1055, 1982) with sine tapers (Riedel & Sidorenko, IEEE Trans.
    Signal Process. 43, 188, 1995): the mean is fitted to the tapered sums, and what the fit leaves over is the
    programme's and the noise's own power near 0 Hz. The tapers keep notes above 8/(2 T) out of a burst of length T.
    """
    step = max(1, int(multiplex.rate_hz / _WORKING_RATE_HZ))
    n = len(multiplex.frequency_hz) // step
    if n < 4 * _TAPERS:
        return math.nan, math.nan
    values = multiplex.frequency_hz[: n * step].reshape(n, step).mean(axis=1, dtype=np.float64)
    orders = np.arange(1, _TAPERS + 1)[:, None]
    tapers = np.sqrt(2 / (n + 1)) * np.sin(np.pi * orders * np.arange(1, n + 1) / (n + 1))
    response = tapers.sum(axis=1)
    sums = tapers @ values
    mean_hz = float(response @ sums / (response @ response))
    left = sums - mean_hz * response
    sd_hz = math.sqrt(float(left @ left) / (_TAPERS - 1) / float(response @ response))
    return (mean_hz, sd_hz) if sd_hz <= USEFUL_BELOW_HZ else (math.nan, math.nan)


def doppler(
    mean_offset_hz: float, mean_offset_sd_hz: float, station_offset_hz: float, station_offset_sd_hz: float = 0.0
) -> tuple[float, float]:
    """Return a burst's shift relative to its station's median offset, and its standard error; NaN when too uncertain.

    Parameters
    ----------
    station_offset_hz, station_offset_sd_hz
        Median of ``mean_offset`` over bursts (or a direct signal) of the same station on the same receiver.
    """
    sd_hz = math.hypot(mean_offset_sd_hz, station_offset_sd_hz)
    if not sd_hz <= USEFUL_BELOW_HZ:
        return math.nan, math.nan
    return mean_offset_hz - station_offset_hz, sd_hz
