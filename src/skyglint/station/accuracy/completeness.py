"""How weak a burst may be: FM bursts beside the ideal energy detector, decaying carriers beside the matched filter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.echoes.settings import DetectionSettings
from skyglint.station.accuracy.matching import match
from skyglint.station.accuracy.scenes import CARRIER_HZ, DISTANCE_KM, FM_HZ, carrier_night, fm_night, hear

Floats = NDArray[np.float64]

FM_BANDWIDTH_HZ = 200_000.0
CARRIER_BAND_HZ = 6_000.0


@dataclass(frozen=True, slots=True)
class Completeness:
    """Share of bursts found against their strength.

    Attributes
    ----------
    length_s
        Burst length, or decay time of a carrier.
    level_db, found
        SNR in 200 kHz (for a carrier E/N0) and share found, each shape (n_levels,).
    half_db, ideal_half_db, loss_db
        Level at which half are found, the same for the ideal detector, and the difference.
    """

    length_s: float
    level_db: Floats
    found: Floats
    half_db: float
    ideal_half_db: float
    loss_db: float


def ideal_energy_snr_db(burst_s: float, false_alarms_per_hour: float = 1.0, detected: float = 0.5) -> float:
    """Return the SNR at which an energy detector that knows time, length and noise finds a share of the bursts.

    It takes one look in each burst length: its false-alarm probability is the accepted rate times the length. Central
    and noncentral chi-square laws with 2 TB degrees of freedom: Urkowitz, Proc. IEEE 55, 523 (1967).

    Examples
    --------
    >>> round(ideal_energy_snr_db(0.01, 0.36), 2)  # TB = 2000, one in a million
    -9.58
    """
    from scipy.optimize import brentq
    from scipy.stats import chi2, ncx2

    freedom = 2.0 * FM_BANDWIDTH_HZ * burst_s
    threshold = chi2.isf(false_alarms_per_hour * burst_s / 3600.0, freedom)
    return float(
        10.0 * np.log10(brentq(lambda snr: ncx2.sf(threshold, freedom, freedom * snr) - detected, 1e-6, 100.0))
    )


def matched_filter_energy_db(false_alarms_per_hour: float = 1.0, detected: float = 0.5) -> float:
    """Return the E/N0 at which a matched filter that knows the waveform, not its time, frequency and phase, finds it.

    It has one independent look for each hertz and second of the plane that is searched. Exponential law of the
    output on noise, Marcum's Q on signal: Helstrom, "Elements of Signal Detection and Estimation" (1995) ch. 3
    [citation from memory].
    """
    from scipy.optimize import brentq
    from scipy.stats import ncx2

    threshold = 2.0 * np.log(3600.0 * CARRIER_BAND_HZ / false_alarms_per_hour)
    return float(10.0 * np.log10(brentq(lambda energy: ncx2.sf(threshold, 2, 2 * energy) - detected, 1e-3, 1e4)))


def fm_completeness(
    burst_s: float,
    seed: int,
    bursts: int = 120,
    offsets_db: Sequence[float] = (-1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0),
    settings: DetectionSettings | None = None,
) -> Completeness:
    """Plant flat bursts of one length at levels about the ideal detector's and count what is found.

    Each level has ``bursts`` of them, spread over four stations.
    """
    accepted = (settings or DetectionSettings()).false_alarms_per_channel_hour
    ideal = ideal_energy_snr_db(burst_s, accepted)
    rng = np.random.default_rng(seed)
    level, found = ideal + np.asarray(offsets_db, dtype=np.float64), []
    rounds = -(-bursts // len(FM_HZ))
    spacing = 20.0 + 20.0 * burst_s  # weak long bursts one after another would be a wandering receiver
    for number, snr_db in enumerate(level):
        events = [
            {
                "transmitter": f"s{station}",
                "start_s": 20.0 + i * spacing + float(rng.uniform(0, 1)),
                "peak_snr_db": float(snr_db),
                "duration_s": burst_s,
            }
            for i in range(rounds)
            for station in range(len(FM_HZ))
        ]
        night = fm_night({"burst": events}, 30.0 + rounds * spacing, seed + number)
        matches = match(night.truth.events, hear(night, settings), slack_s=0.0)
        found.append(np.mean([bool(item.echoes) for item in matches]))
    return _summary(burst_s, level, np.array(found), ideal)


def carrier_completeness(
    decay_s: float, seed: int, bursts: int = 60, offsets_db: Sequence[float] = (-2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
) -> Completeness:
    """Plant underdense echoes of one decay time on a carrier and count what is found, against their true E/N0.

    The loss is to the matched filter of `matched_filter_energy_db`, which knows the waveform and the noise.
    """
    ideal = matched_filter_energy_db(DetectionSettings().false_alarms_per_channel_hour)
    rng = np.random.default_rng(seed)
    level, found = [], []
    for number, offset in enumerate(offsets_db):
        snr_db = ideal + offset - 10 * np.log10(decay_s / 2)
        night = carrier_night(
            {"underdense": decaying(decay_s, snr_db, bursts, rng)}, 30.0 + spacing_s(decay_s) * bursts, seed + number
        )
        matches = match(night.truth.events, hear(night), slack_s=0.05)
        level.append(10 * np.log10(np.mean([item.event.energy_snr_s for item in matches])))
        found.append(np.mean([bool(item.echoes) for item in matches]))
    return _summary(decay_s, np.array(level), np.array(found), ideal)


def spacing_s(decay_s: float) -> float:
    """Return the time between two echoes, long enough for the first to be over."""
    return 4.0 + 8.0 * decay_s


def decaying(decay_s: float, snr_db: float, count: int, rng: np.random.Generator) -> list[dict[str, object]]:
    """Return scenario rows of underdense echoes of one decay time, `spacing_s` apart, Doppler as winds make it."""
    from skyglint.path.geometry import midpoint_geometry
    from skyglint.path.trails import height_from_decay_km

    height_km = 95.0
    for _ in range(6):  # the angle depends a little on the height
        _, _, phi_deg = midpoint_geometry(DISTANCE_KM * 1e3, height_km * 1e3)
        height_km = float(height_from_decay_km(decay_s, CARRIER_HZ, phi_deg)[0])
    return [
        {
            "transmitter": "s",
            "start_s": 15.0 + spacing_s(decay_s) * i + float(rng.uniform(0, 1)),
            "peak_snr_db": float(snr_db),
            "height_km": height_km,
            "speed_km_s": 60.0,
            "doppler_hz": float(rng.normal(0, 15)),
        }
        for i in range(count)
    ]


def _summary(length_s: float, level: Floats, found: Floats, ideal: float) -> Completeness:
    half = half_level(level, found)
    return Completeness(length_s, level, found, half, ideal, half - ideal)


def half_level(level: Floats, found: Floats) -> float:
    """Return where a normal distribution function, fitted to the shares, crosses one half; NaN where it cannot."""
    from scipy.stats import norm

    share = np.clip(found, 0.02, 0.98)
    if share.max() < 0.5 or share.min() > 0.5:
        return float("nan")
    weight = norm.pdf(norm.ppf(share)) / np.sqrt(share * (1 - share))
    slope, intercept = np.polyfit(level, norm.ppf(share), 1, w=weight)
    return float(-intercept / slope)
