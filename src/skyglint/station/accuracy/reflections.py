"""Does following agree with what the radar equation promised? Reflections of chosen strength, followed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.pass_energy import energy_along
from skyglint.dsp.straighten import Straightener, whitened
from skyglint.dsp.track import TrackSearch, find_track
from skyglint.plan.reflection import Hope, Reflection, judge, reflected_power_dbm
from skyglint.plan.settings import PlanSettings
from skyglint.site import Kind
from skyglint.station.follow import DETECTED_BELOW, DRIFT_PPM, OFFSET_PPM

FloatArray = NDArray[np.float64]

#: How far over what is needed the reflection stands, by the radar equation.
MARGINS_DB = (-10.0, -4.0, 4.0, 10.0)
_FREQUENCY_HZ: dict[Kind, float] = {"carrier": 143e6, "fm": 98e6}
_BANDWIDTH_HZ: dict[Kind, float] = {"carrier": 6e3, "fm": 200e3}
#: A low spacecraft on a straight line, kilometres from the site; the transmitter lies to one side.
_SPAN_S, _SPEED_KM_S, _LIGHT_KM_S = 400.0, 7.4, 299_792.458
_BESIDE_KM, _HEIGHT_KM = 150.0, 420.0
_TRANSMITTER_KM = np.array([400.0, 500.0, 0.0])
_EIRP_W, _GAIN_DBI = 1e5, 6.0
_TIME_OFFSET_S = 5.0
#: An FM channel is listened to for so long; its gain wanders by so much over so long (common practice).
_LISTENED_S, _WANDER, _WANDER_S = 3600, 0.005, 120.0


@dataclass(frozen=True, slots=True)
class ReflectionCell:
    """Passes of a spacecraft whose cross-section puts its reflection so far over or under what is needed.

    ``hope`` is the radar equation's promise; ``detected`` the share in which following found it.
    """

    kind: Kind
    margin_db: float
    cross_section_m2: float
    hope: Hope
    passes: int
    detected: float


def measure_reflections(
    passes: int, seed: int, kinds: Sequence[Kind] = ("carrier", "fm"), margins_db: Sequence[float] = MARGINS_DB
) -> Iterator[ReflectionCell]:
    """Yield how often reflections are found that the radar equation promises, leaves open, or calls hopeless."""
    for kind in kinds:
        unit = _reflection(kind, 1.0)[0]
        for margin_db in margins_db:
            section_m2 = 10 ** ((margin_db - (unit.snr_db - unit.needed_db)) / 10)
            promised, snr_db = _reflection(kind, section_m2)
            random = np.random.default_rng([seed, round(10 * margin_db) + 1000, kind == "fm"])
            found = [_chance(kind, snr_db, random) < DETECTED_BELOW for _ in range(passes)]
            yield ReflectionCell(kind, margin_db, section_m2, promised.hope, passes, float(np.mean(found)))


def _ranges_km(times_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how far the spacecraft is from the site and from the transmitter."""
    along = _SPEED_KM_S * (times_s - _SPAN_S / 2)
    place = np.stack([along, np.full_like(along, _BESIDE_KM), np.full_like(along, _HEIGHT_KM)], axis=-1)
    return np.linalg.norm(place, axis=-1), np.linalg.norm(place - _TRANSMITTER_KM, axis=-1)


def _reflection(kind: Kind, section_m2: float) -> tuple[Reflection, FloatArray]:
    """Return the promise for a cross-section, and the ratio to the noise at each second of the pass, dB."""
    seconds: FloatArray = np.arange(_SPAN_S) + 0.5
    here, there = _ranges_km(seconds)
    power_dbm = reflected_power_dbm(_EIRP_W, _GAIN_DBI, _FREQUENCY_HZ[kind], section_m2, there, here)
    told = judge("far", kind, _FREQUENCY_HZ[kind], _BANDWIDTH_HZ[kind], seconds, power_dbm, PlanSettings())
    return told, power_dbm - (told.power_dbm - told.snr_db)


def _chance(kind: Kind, snr_db: FloatArray, random: np.random.Generator) -> float:
    return _carrier_chance(snr_db, random) if kind == "carrier" else _power_chance(snr_db, random)


def _power_chance(snr_db: FloatArray, random: np.random.Generator) -> float:
    """Return the stated odds of chance in an hour of a channel's power with the pass in its middle."""
    expected = np.zeros(_LISTENED_S)
    first = (_LISTENED_S - len(snr_db)) // 2
    expected[first : first + len(snr_db)] = 10 ** (snr_db / 10)
    kernel = np.exp(-np.arange(5 * _WANDER_S) / _WANDER_S)
    slow = np.convolve(random.standard_normal(_LISTENED_S), kernel)[:_LISTENED_S]
    noise = random.standard_normal(_LISTENED_S) / math.sqrt(_BANDWIDTH_HZ["fm"])
    power = (1 + _WANDER * slow / np.std(slow)) * (1 + noise + expected)
    return energy_along(power, expected)[1]


def _carrier_chance(snr_db: FloatArray, random: np.random.Generator) -> float:
    """Return the stated odds of chance in a straightened recording, seconds late, off by 2 ppm and drifting."""
    frequency_hz = _FREQUENCY_HZ["carrier"]
    search = TrackSearch(_TIME_OFFSET_S, OFFSET_PPM * 1e-6 * frequency_hz, DRIFT_PPM * 1e-6 * frequency_hz)
    seconds: FloatArray = np.arange(-10.0, _SPAN_S + 10.0)
    slope = np.gradient(_curve(seconds), seconds)
    steepest, sharpest = float(np.abs(slope).max()), float(np.abs(np.gradient(slope, seconds)).max())
    cell_s = min(1.0, 1 / math.sqrt(2 * _TIME_OFFSET_S * sharpest))
    band_hz = 2.2 * (search.frequency_offset_hz + search.drift_hz + _TIME_OFFSET_S * steepest) + 50.0
    rate_hz = 1.3 * band_hz
    times: FloatArray = np.arange(int(_SPAN_S * rate_hz)) / rate_hz
    late_s, offset_hz, drift_hz = random.uniform(-1, 1, 3) * (3.0, 2e-6 * frequency_hz, 2e-7 * frequency_hz)
    shift = _curve(times - late_s) - _curve(times) + offset_hz + drift_hz * (times / _SPAN_S - 0.5)
    level_db = np.interp(times, np.arange(len(snr_db)) + 0.5, snr_db)
    tone = np.sqrt(10 ** (level_db / 10) / rate_hz) * np.exp(2j * np.pi * np.cumsum(shift) / rate_hz)
    noise = random.standard_normal(2 * len(times)).view(np.complex128) / math.sqrt(2)
    straightener = Straightener(np.zeros_like, cell_s, band_hz, rate_hz)
    middles, powers = straightener.process((noise + tone).astype(np.complex64), 0.0)
    found = find_track(whitened(powers), middles, straightener.bin_hz, _curve, search, random)
    return found.false_alarm_probability


def _curve(times_s: FloatArray) -> FloatArray:
    """Return the Doppler shift of the reflection."""
    step_s = 0.01
    before, after = (np.add(*_ranges_km(times_s + sign * step_s)) for sign in (-1, 1))
    shift: FloatArray = -(after - before) / (2 * step_s) / _LIGHT_KM_S * _FREQUENCY_HZ["carrier"]
    return shift
