"""Does a line in a carrier channel follow a spacecraft's predicted curve? Doppler shift and rate against chance.

Both have to agree within their errors. How much that says is a ratio of likelihoods: of the shift and the rate as
measured, if the spacecraft made the line, and if anything else did.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: What transmitter and receiver add unnoticed, one standard deviation (assumed: 0.2 ppm at 150 MHz).
OSCILLATORS_HZ = 30.0
_LEAST_HITS = 4
_LEAST_RATE_SD_HZ_S = 1.0
#: A rate that is known worse than this, and worse than half the predicted one, cannot agree with anything.
_WORST_RATE_SD_HZ_S = 10.0
#: Of a hundred bursts while a spacecraft that could be found stands on its curve, so many are its own (assumed).
_PRIOR = 0.1
#: A spacecraft may glint by this over what an even cross-section sends, one standard deviation (assumed).
_GLINT_DB = 10.0
_MOST_ODDS = 1e3
#: Everything else: shares, speeds along the path (m/s), rates (Hz/s), one standard deviation each (assumed). Trails in
#: the wind and aircraft stand near the carrier and hardly change; foreign lines and heads may be anywhere.
_NEAR_SHARE, _NEAR_M_S, _NEAR_HZ_S = 0.9, 200.0, 10.0
_ANYWHERE_HZ_S = 100.0
_LIGHT_M_S = 299_792_458.0


@dataclass(frozen=True, slots=True)
class ExpectedCurve:
    """A spacecraft's signal in one channel, as predicted.

    Attributes
    ----------
    name
        Of the spacecraft.
    unix, doppler_hz
        Times, and the shift then, shape (n,); NaN where the signal has no way.
    snr_db
        Its strength over 1 Hz of noise by the radar equation, shape (n,), dB-Hz; NaN where nothing is known of it.
    late_s
        Standard error of the time of the pass.
    """

    name: str
    unix: Floats
    doppler_hz: Floats
    snr_db: Floats
    late_s: float


#: Gives the curves that are expected in a channel between two times.
Expectations = Callable[[str, float, float], Sequence[ExpectedCurve]]


@dataclass(frozen=True, slots=True)
class Line:
    """A burst's points in time and frequency, each of shape (n,), and what it stands in.

    Attributes
    ----------
    unix, shift_hz, energy, resolution_s
        Middle, shift, energy over noise density and length of each look.
    peak_snr_db
        Strongest reading over 1 Hz, dB-Hz.
    frequency_hz, bandwidth_hz
        Of the channel.
    """

    unix: Floats
    shift_hz: Floats
    energy: Floats
    resolution_s: Floats
    peak_snr_db: float
    frequency_hz: float
    bandwidth_hz: float


@dataclass(frozen=True, slots=True)
class Agreement:
    """A line on a spacecraft's curve.

    Attributes
    ----------
    name
        Of the spacecraft.
    shift_hz, rate_hz_s, predicted_hz, predicted_rate_hz_s
        As measured in the burst's middle, and as predicted for it.
    sd_hz, sd_hz_s
        Standard errors of the differences.
    expected_db
        Strength by the radar equation, dB-Hz; NaN where unknown.
    odds
        That the spacecraft made the line, to 1 that anything else did.
    """

    name: str
    shift_hz: float
    rate_hz_s: float
    predicted_hz: float
    predicted_rate_hz_s: float
    sd_hz: float
    sd_hz_s: float
    expected_db: float
    odds: float


def best_agreement(line: Line, curves: Sequence[ExpectedCurve]) -> Agreement | None:
    """Return the spacecraft whose curve explains a line best; ``None`` where none does within three deviations."""
    found = [one for one in (_agreement(line, curve) for curve in curves) if one is not None]
    return max(found, key=lambda one: one.odds, default=None)


def _agreement(line: Line, curve: ExpectedCurve) -> Agreement | None:
    predicted = np.interp(line.unix, curve.unix, curve.doppler_hz, left=math.nan, right=math.nan)
    use = np.isfinite(predicted) & (line.energy >= 0.1 * line.energy.max(initial=0.0))
    if np.count_nonzero(use) < _LEAST_HITS:
        return None
    unix, weight, resolution_s = line.unix[use], line.energy[use], line.resolution_s[use]
    middle = float(np.average(unix, weights=weight))
    away, sds = _straight(unix - middle, line.shift_hz[use] - predicted[use], weight, resolution_s)
    here = np.interp(middle + np.array([-1.0, 0.0, 1.0]), curve.unix, curve.doppler_hz)
    if not np.isfinite([*away, *sds, *here]).all():
        return None
    rate = float(here[2] - here[0]) / 2.0
    sd_hz = math.hypot(sds[0], OSCILLATORS_HZ, rate * curve.late_s)
    sd_hz_s = math.hypot(sds[1], abs(float(here[2] - 2 * here[1] + here[0])) * curve.late_s)
    known = sd_hz_s <= max(_WORST_RATE_SD_HZ_S, 0.5 * abs(rate))
    if not known or abs(away[0]) > 3 * sd_hz or abs(away[1]) > 3 * sd_hz_s:
        return None
    expected = float(np.interp(middle, curve.unix, curve.snr_db))
    over = 0.0 if math.isnan(expected) else max(line.peak_snr_db - expected, 0.0)
    shift, slope = float(here[1]) + away[0], rate + away[1]
    ratio = _normal(away[0], sd_hz) * _normal(away[1], sd_hz_s) / _anything_else(line, shift, slope, sds)
    odds = min(_PRIOR * ratio * math.exp(-0.5 * (over / _GLINT_DB) ** 2), _MOST_ODDS)
    return Agreement(curve.name, shift, slope, float(here[1]), rate, sd_hz, sd_hz_s, expected, odds)


def _straight(
    time_s: Floats, difference_hz: Floats, weight: Floats, resolution_s: Floats
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return how a line differs from its prediction: shift and rate, and the standard errors of both.

    Looks overlap: only those count as independent that would stand beside each other in the burst's length.
    """
    share = weight / weight.sum()
    spread = float(share @ time_s**2)
    if spread <= 0:
        return (0.0, 0.0), (math.nan, math.nan)
    shift = float(share @ difference_hz)
    rate = float(share @ (time_s * difference_hz)) / spread
    left = difference_hz - shift - rate * time_s
    resolution = float(share @ resolution_s)
    independent = min(float(np.ptp(time_s)) / resolution + 1.0, 1.0 / float(share @ share))
    # A look is never better than a tenth of the inverse of its length, whatever the scatter says.
    sd = max(math.sqrt(float(share @ left**2)), 0.1 / resolution) / math.sqrt(independent)
    return (shift, rate), (sd, max(sd / math.sqrt(spread), _LEAST_RATE_SD_HZ_S))


def _anything_else(line: Line, shift_hz: float, rate_hz_s: float, sds: tuple[float, float]) -> float:
    near_hz = math.hypot(_NEAR_M_S / _LIGHT_M_S * line.frequency_hz, sds[0])
    near = _normal(shift_hz, near_hz) * _normal(rate_hz_s, math.hypot(_NEAR_HZ_S, sds[1]))
    anywhere = _normal(rate_hz_s, math.hypot(_ANYWHERE_HZ_S, sds[1])) / line.bandwidth_hz
    return _NEAR_SHARE * near + (1 - _NEAR_SHARE) * anywhere


def _normal(value: float, sd: float) -> float:
    return math.exp(-0.5 * (value / sd) ** 2) / (math.sqrt(2 * math.pi) * sd)
