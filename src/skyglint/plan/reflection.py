"""Whether a satellite's reflection of a transmitter can be found: the bistatic radar equation against the noise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import FloatArray
from skyglint.path.geometry import wavelength_m
from skyglint.plan.sensitivity import noise_density_w_hz
from skyglint.plan.settings import PlanSettings
from skyglint.site import Kind

#: Radar cross-section of a large spacecraft at metre waves; small satellites have 0.1 to 1 m2 (common practice, values
#: from memory: below resonance, when the body is smaller than the wavelength, it falls with its sixth power).
LARGE_SPACECRAFT_M2 = 100.0
#: Signal over noise times the root of (bandwidth x time) at which a power sum stands out with a false-alarm
#: probability below 1e-6 over a small search: seven standard deviations.
_DEVIATIONS = 7.0
#: A receiver's gain wanders by 0.5 % over minutes (common practice): three times that bounds what averaging can show.
_GAIN_LIMIT = 0.015
#: Equivalent width of the noise that the search along a carrier's predicted curve sums (elements some days old, clocks
#: some ppm off). Measured: 1.9 times the noise in 1 Hz, as a mean over 400 s, is found every second time.
_SEARCHED_HZ = 28.0
_MARGINAL_DB = 3.0

Hope = Literal["yes", "marginal", "none"]


@dataclass(frozen=True, slots=True)
class Reflection:
    """The reflection of one channel's transmitter at its best in a pass.

    Attributes
    ----------
    channel
        Name of the channel.
    start_unix, end_unix
        From when to when both ends see the satellite; NaN when they never do.
    best_unix, power_dbm, snr_db
        The strongest moment, the power there, and its ratio to the noise in the channel's bandwidth (1 Hz for a
        carrier).
    needed_db
        The ratio that the analysis of the whole pass needs at this moment, of a pass of this shape.
    hope
        Whether the reflection can be found.
    sentence
        The verdict in words, with what would help.
    """

    channel: str
    start_unix: float
    end_unix: float
    best_unix: float
    power_dbm: float
    snr_db: float
    needed_db: float
    hope: Hope
    sentence: str


def reflected_power_dbm(
    eirp_w: ArrayLike,
    receiving_gain_dbi: ArrayLike,
    frequency_hz: float,
    cross_section_m2: float,
    transmitter_range_km: ArrayLike,
    site_range_km: ArrayLike,
) -> FloatArray:
    """Return the power received off a target: P G lambda^2 sigma / ((4 pi)^3 R1^2 R2^2).

    Bistatic radar equation (Skolnik, Introduction to Radar Systems, ch. 14; Willis, Bistatic Radar, sect. 4.1), no
    losses: polarisation, and what the transmitting antenna does not send upwards, come off it.
    """
    ranges = np.asarray(transmitter_range_km, np.float64) * 1e3 * np.asarray(site_range_km, np.float64) * 1e3
    numerator = np.asarray(eirp_w, np.float64) * wavelength_m(frequency_hz) ** 2 * cross_section_m2
    watts = numerator / ((4 * np.pi) ** 3 * ranges**2)
    return np.asarray(10 * np.log10(watts * 1e3) + np.asarray(receiving_gain_dbi))


def needed_snr_db(kind: Kind, bandwidth_hz: float, duration_s: float) -> float:
    """Return the signal-to-noise ratio at which a reflection of this length is found.

    ``fm``: of the power in the channel's bandwidth, averaged over the pass, but not below what the receiver's gain
    wanders. ``carrier``: of a tone along its predicted curve, in 1 Hz, averaged likewise.
    """
    if kind == "carrier":
        return 10 * math.log10(_DEVIATIONS * math.sqrt(_SEARCHED_HZ / max(duration_s, 1.0)))
    ratio = max(_DEVIATIONS / math.sqrt(max(bandwidth_hz * duration_s, 1.0)), _GAIN_LIMIT)
    return 10 * math.log10(ratio)


def judge(
    channel: str,
    kind: Kind,
    frequency_hz: float,
    bandwidth_hz: float,
    times_unix: FloatArray,
    power_dbm: FloatArray,
    settings: PlanSettings,
) -> Reflection:
    """Weigh a reflection over a pass.

    Parameters
    ----------
    times_unix, power_dbm
        Evenly spaced times and the power expected then, shape (n,); NaN where either end does not see the satellite.
    """
    seen = np.flatnonzero(np.isfinite(power_dbm))
    if len(seen) == 0:
        nothing = f"{channel}: the transmitter never sees the satellite while it is up here."
        return Reflection(channel, *(math.nan,) * 6, "none", nothing)
    step_s = float(times_unix[1] - times_unix[0]) if len(times_unix) > 1 else 1.0
    duration_s = len(seen) * step_s
    best = int(seen[np.argmax(power_dbm[seen])])
    noise_w_hz = float(noise_density_w_hz(frequency_hz, settings.environment, settings.noise_figure_db))
    width_hz = bandwidth_hz if kind == "fm" else 1.0
    snr_db = float(power_dbm[best]) - 10 * math.log10(noise_w_hz * width_hz * 1e3)
    # The search along a carrier's curve weighs the whole pass alike: what counts is the mean, not the best moment.
    over_mean_db = float(power_dbm[best] - 10 * np.log10(np.mean(10 ** (power_dbm[seen] / 10))))
    carrier_needed_db = needed_snr_db("carrier", bandwidth_hz, duration_s) + over_mean_db
    needed_db = carrier_needed_db if kind == "carrier" else needed_snr_db(kind, bandwidth_hz, duration_s)
    margin_db = snr_db - needed_db
    hope: Hope = "yes" if margin_db >= _MARGINAL_DB else "none" if margin_db < -_MARGINAL_DB else "marginal"
    as_carrier_db = snr_db + (10 * math.log10(bandwidth_hz) if kind == "fm" else 0.0)
    spare_db = as_carrier_db - carrier_needed_db
    return Reflection(
        channel=channel,
        start_unix=float(times_unix[seen[0]]),
        end_unix=float(times_unix[seen[-1]]),
        best_unix=float(times_unix[best]),
        power_dbm=float(power_dbm[best]),
        snr_db=snr_db,
        needed_db=needed_db,
        hope=hope,
        sentence=f"{channel}: {_words(kind, margin_db, hope, spare_db)}",
    )


def _words(kind: Kind, margin_db: float, hope: Hope, carrier_spare_db: float) -> str:
    if hope == "yes":
        return f"should be found, {margin_db:.0f} dB above what the whole pass can show."
    if hope == "marginal":
        return f"at the limit of what the whole pass can show ({margin_db:+.0f} dB)."
    plain = f"no hope: {-margin_db:.0f} dB too weak. It would take {-margin_db:.0f} dB more antenna gain or power"
    if kind == "fm" and carrier_spare_db >= _MARGINAL_DB:
        return f"{plain}; a bare carrier of the same power would do, {carrier_spare_db:.0f} dB above its limit."
    if kind == "fm":
        return f"{plain}; a bare carrier of the same power would still miss {_MARGINAL_DB - carrier_spare_db:.0f} dB."
    return f"{plain}."
