"""How well echoes are measured: when they start, how long they last, whether one stays one, decay and Doppler."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.station.accuracy.completeness import decaying, spacing_s
from skyglint.station.accuracy.matching import Match, match
from skyglint.station.accuracy.scenes import FM_HZ, Event, carrier_night, fm_night, hear

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Timing:
    """Errors in time of the echoes found.

    Attributes
    ----------
    events, found
        Bursts planted, and those of them found.
    start_error_s, duration_error
        Medians of the absolute error of the start, and of that of the duration as a share of the true one.
    split_share, merged_share
        Share of the bursts found that became several echoes, and that share an echo with another burst.
    """

    events: int
    found: int
    start_error_s: float
    duration_error: float
    split_share: float
    merged_share: float


@dataclass(frozen=True, slots=True)
class Scatter:
    """Scatter of a carrier's estimates over the Cramer-Rao bound.

    Attributes
    ----------
    decay_s, carrier_to_noise_db_hz
        True decay time and peak C/N0.
    decay_ratio, doppler_ratio
        Standard deviation of the estimates over the bound of a fully observed damped exponential.
    decay_bias, doppler_bias
        Mean error over the standard deviation.
    decay_score, doppler_score
        Root mean square of the errors over the stated standard errors: 1 if these are true.
    measured
        Echoes with both measured, as a share of those planted.
    """

    decay_s: float
    carrier_to_noise_db_hz: float
    decay_ratio: float
    doppler_ratio: float
    decay_bias: float
    doppler_bias: float
    decay_score: float
    doppler_score: float
    measured: float


def underdense_timing(seed: int, count: int = 80, snr_db: tuple[float, float] = (0.0, 20.0)) -> Timing:
    """Plant underdense trails of various heights in FM channels."""
    rng = np.random.default_rng(seed)
    rows = _in_turn(
        count, 10.0, lambda: {"height_km": float(rng.normal(95, 4)), "speed_km_s": float(rng.uniform(20, 65))}
    )
    return _timing({"underdense": _with_levels(rows, snr_db, rng)}, rows, seed)


def overdense_timing(seed: int, count: int = 80, snr_db: tuple[float, float] = (10.0, 20.0)) -> Timing:
    """Plant long fading trails of 1 to 20 s and one to six glints in FM channels."""
    rng = np.random.default_rng(seed)
    rows = _in_turn(
        count,
        40.0,
        lambda: {
            "duration_s": float(np.exp(rng.uniform(0.0, np.log(20.0)))),
            "height_km": float(rng.normal(92, 3)),
            "glints": int(rng.integers(1, 7)),
            "drift_hz": float(rng.uniform(0.2, 1.5)),
        },
    )
    return _timing({"overdense": _with_levels(rows, snr_db, rng)}, rows, seed)


def carrier_scatter(decay_s: float, carrier_to_noise_db_hz: float, seed: int, count: int = 80) -> Scatter:
    """Plant equal underdense echoes on a carrier and compare the estimates' scatter with the bound.

    Bounds: sd(decay) = decay sqrt(2 N0/E), sd(f) = sqrt(2 N0/E) / (2 pi decay) (Yao & Pandit, IEEE Trans. SP 43, 878
    (1995) [citation from memory; derived again from the Fisher matrix]), with the true E/N0.
    """
    rng = np.random.default_rng(seed)
    rows = decaying(decay_s, carrier_to_noise_db_hz, count, rng)
    night = carrier_night({"underdense": rows}, 30.0 + spacing_s(decay_s) * count, seed)
    pairs = [
        (item.event, item.main)
        for item in match(night.truth.events, hear(night))
        if item.main is not None and np.isfinite(item.main.decay_time_s)
    ]
    decay = np.array([echo.decay_time_s - event.decay_time_s for event, echo in pairs])
    doppler = np.array([echo.doppler_hz - event.doppler_hz for event, echo in pairs])
    energy = np.array([event.energy_snr_s for event, _ in pairs])
    bound = np.sqrt(np.mean(2.0 / energy))
    return Scatter(
        decay_s,
        carrier_to_noise_db_hz,
        float(decay.std() / (decay_s * bound)),
        float(doppler.std() / (bound / (2 * np.pi * decay_s))),
        float(decay.mean() / decay.std()),
        float(doppler.mean() / doppler.std()),
        _score(decay, [echo.decay_time_sd_s for _, echo in pairs]),
        _score(doppler, [echo.doppler_sd_hz for _, echo in pairs]),
        len(pairs) / count,
    )


def _score(errors: Floats, stated: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(errors / np.array(stated)))))


def _in_turn(count: int, spacing_s: float, draw: Callable[[], Event]) -> list[Event]:
    return [
        {
            "transmitter": f"s{i % len(FM_HZ)}",
            "start_s": 20.0 + spacing_s * (i // len(FM_HZ)) + 0.137 * i % 1.0,
            **draw(),
        }
        for i in range(count)
    ]


def _with_levels(rows: list[Event], snr_db: tuple[float, float], rng: np.random.Generator) -> list[Event]:
    return [{**row, "peak_snr_db": float(rng.uniform(*snr_db))} for row in rows]


def _timing(events: dict[str, list[Event]], rows: Sequence[Event], seed: int) -> Timing:
    night = fm_night(events, max(float(row["start_s"]) for row in rows) + 60.0, seed)
    matches = match(night.truth.events, hear(night))
    seen = [item for item in matches if item.main is not None]
    start = [abs(item.echoes[0].start_unix - item.event.start_unix) for item in seen]
    duration = [abs(_length(item) - item.event.duration_s) / item.event.duration_s for item in seen]
    owners: dict[int, int] = {}
    for item in seen:
        for echo in item.echoes:
            owners[id(echo)] = owners.get(id(echo), 0) + 1
    return Timing(
        len(matches),
        len(seen),
        float(np.median(start)),
        float(np.median(duration)),
        float(np.mean([len(item.echoes) > 1 for item in seen])),
        float(np.mean([any(owners[id(echo)] > 1 for echo in item.echoes) for item in seen])),
    )


def _length(item: Match) -> float:
    return item.main.duration_s if item.main is not None else float("nan")
