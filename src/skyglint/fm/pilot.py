"""The 19 kHz stereo pilot: whether it is there, and its exact frequency, phase and deviation."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, ifft

from skyglint.fm.discriminator import Multiplex

#: 47 CFR 73.322(a)(2): 19 kHz +-2 Hz; a sampling clock wrong by 100 ppm moves it by 1.9 Hz more.
PILOT_HZ = 19_000.0
SEARCH_HZ = 4.0
#: The multiplex is empty from 15 kHz to 23 kHz but for the pilot: half the width that is cut out around it.
HALF_BAND_HZ = 2_000.0
#: A pilot is believed when noise alone would show such a line with less than this probability.
BELIEVED_BELOW = 1e-4
_PADDING = 4


@dataclass(frozen=True, slots=True)
class Pilot:
    """The strongest line near 19 kHz.

    Attributes
    ----------
    present
        Whether ``false_alarm_probability`` is below ``BELIEVED_BELOW``.
    false_alarm_probability
        Chance that noise alone shows a line as strong anywhere in the searched range.
    frequency_hz, frequency_sd_hz
        Its frequency on the receiver's sampling clock, and the standard error of that (Cramer-Rao bound).
    phase_rad
        Phase of ``cos`` at the burst's first reading.
    snr_db
        Power of the line over the noise in 1 Hz, dB.
    """

    present: bool
    false_alarm_probability: float
    frequency_hz: float
    frequency_sd_hz: float
    phase_rad: float
    snr_db: float


def find_pilot(multiplex: Multiplex) -> Pilot:
    """Look for the pilot in a burst.

    The band around 19 kHz is windowed (Hann) and transformed. The noise density is the mean of the bins away from the
    line; under noise alone a bin exceeds ``t`` times the mean of ``k`` others with probability ``(1 + t/k)^-k``
    (ratio of exponential variables, F distribution with 2 and 2k degrees of freedom), and there are as many chances
    as independent frequencies in the range.
    """
    cut, rate_hz, first_hz = _band(multiplex)
    window = np.hanning(len(cut) + 2)[1:-1]
    n_fft = _PADDING * len(cut)
    lines = np.abs(fft(cut * window, n_fft)) ** 2 / np.sum(window**2)
    frequencies = first_hz + np.fft.fftfreq(n_fft, 1 / rate_hz) % rate_hz
    apart = np.abs(frequencies - PILOT_HZ)
    duration_s = multiplex.duration_s
    guard_hz = SEARCH_HZ + 4 / duration_s
    away = (apart > guard_hz) & (apart < 0.8 * HALF_BAND_HZ)
    noise = float(np.mean(lines[away]))
    near = np.flatnonzero(apart <= SEARCH_HZ + 0.5 / duration_s)
    best = near[np.argmax(lines[near])]
    shift = _vertex(lines[best - 1 : best + 2])
    frequency_hz = float(frequencies[best]) + shift * rate_hz / n_fft
    independent = max(1.0, np.count_nonzero(away) / _PADDING / 1.5)
    ratio = float(lines[best]) / max(noise, 1e-30)
    chances = 1.0 + 2.0 * (SEARCH_HZ + 0.5 / duration_s) * duration_s
    alone = math.exp(-independent * math.log1p(ratio / independent))
    probability = -math.expm1(chances * math.log1p(-min(alone, 1 - 1e-16)))
    # With a Hann window the line's peak stands at 2/3 of (power x time / density).
    snr = max(ratio - 1.0, 1e-3) * 1.5 / duration_s
    amplitude = np.vdot(np.exp(2j * np.pi * (frequency_hz - first_hz) / rate_hz * np.arange(len(cut))), cut * window)
    return Pilot(
        present=probability < BELIEVED_BELOW,
        false_alarm_probability=probability,
        frequency_hz=frequency_hz,
        frequency_sd_hz=math.sqrt(6.0 / snr / duration_s**3) / (2 * math.pi),
        phase_rad=float(np.angle(amplitude)),
        snr_db=10 * math.log10(snr),
    )


def _band(multiplex: Multiplex) -> tuple[NDArray[np.complex128], float, float]:
    """Return the complex band around 19 kHz, its rate, and the frequency at its 0 Hz."""
    bin_hz = multiplex.rate_hz / multiplex.n_fft
    low = round((PILOT_HZ - HALF_BAND_HZ) / bin_hz)
    high = round((PILOT_HZ + HALF_BAND_HZ) / bin_hz)
    rate_hz = (high - low) * bin_hz
    cut = ifft(multiplex.spectrum[low:high].astype(np.complex128)) * (high - low)
    kept = max(8, int(multiplex.duration_s * rate_hz))
    return cut[:kept], rate_hz, low * bin_hz


def _vertex(three: NDArray[np.float64]) -> float:
    """Return where the parabola through three equally spaced logarithms has its top, in steps from the middle one."""
    left, middle, right = np.log(np.maximum(three, 1e-300))
    curvature = left - 2 * middle + right
    return float(0.5 * (left - right) / curvature) if curvature < 0 else 0.0
