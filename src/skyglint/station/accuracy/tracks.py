"""Following a satellite's beacon: found how faint, offsets how true, and chance as rare as stated."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.straighten import Straightener, whitened
from skyglint.dsp.track import TrackSearch, find_track
from skyglint.dsp.track_fit import TrackFit, fit_track
from skyglint.station.follow import DETECTED_BELOW, DRIFT_PPM, OFFSET_PPM

FloatArray = NDArray[np.float64]

FREQUENCIES_HZ = (137.1e6, 2.25e9)
_LEVELS_DB_HZ = (20.0, 15.0, 10.0, 5.0, 30.0, 40.0)
_SPAN_S, _NEAREST_KM, _SPEED_KM_S, _LIGHT_KM_S = 500.0, 600.0, 7.4, 299_792.458
_TIME_OFFSET_S = 5.0


@dataclass(frozen=True, slots=True)
class TrackCell:
    """Recordings of one frequency and strength.

    ``detected`` is the share found with a false-alarm probability below 1e-3; ``time_score`` and ``frequency_score``
    are the root mean square of the errors in units of their stated standard errors (1 when these are true, NaN where
    nothing was measured); ``time_sd_s`` is the median stated error of the time offset.
    """

    frequency_hz: float
    c_n0_db_hz: float
    recordings: int
    detected: float
    time_score: float
    frequency_score: float
    time_sd_s: float


@dataclass(frozen=True, slots=True)
class ChanceShare:
    """Searches without a satellite, and the shares of them that stated less than each false-alarm probability."""

    trials: int
    below_0_1: float
    below_0_05: float
    below_0_01: float


def measure_tracks(
    recordings: int,
    seed: int,
    frequencies_hz: Sequence[float] = FREQUENCIES_HZ,
    levels_db_hz: Sequence[float] = _LEVELS_DB_HZ,
) -> Iterator[TrackCell]:
    """Yield how beacons are found and measured: seconds late, receiver off by up to 2 ppm and drifting."""
    for frequency_hz in frequencies_hz:
        for level in levels_db_hz:
            random = np.random.default_rng([seed, round(frequency_hz / 1e6), round(10 * level)])
            yield _cell(random, frequency_hz, level, recordings)


def measure_chance(trials: int, seed: int, frequency_hz: float = FREQUENCIES_HZ[0]) -> FloatArray:
    """Return the stated false-alarm probabilities of searches without a satellite, shape (trials,)."""
    random = np.random.default_rng([seed, 2])
    made = _Pass(frequency_hz)
    return np.array([made.search(made.recording(random, -math.inf, 0, 0, 0), random)[0] for _ in range(trials)])


def measure_chance_share(trials: int, seed: int) -> ChanceShare:
    """Return how often chance alone states less than a tenth, a twentieth and a hundredth: as often, when true."""
    stated = measure_chance(trials, seed)
    return ChanceShare(trials, *(float(np.mean(stated < level)) for level in (0.1, 0.05, 0.01)))


def _cell(random: np.random.Generator, frequency_hz: float, level_db_hz: float, recordings: int) -> TrackCell:
    made = _Pass(frequency_hz)
    found, scores = 0, []
    for _ in range(recordings):
        late_s = random.uniform(-3, 3)
        offset_hz, drift_hz = random.uniform(-2e-6, 2e-6) * frequency_hz, random.uniform(-2e-7, 2e-7) * frequency_hz
        chance, fit = made.search(made.recording(random, level_db_hz, late_s, offset_hz, drift_hz), random)
        found += chance < DETECTED_BELOW
        if fit is not None and chance < DETECTED_BELOW:
            # The offset is stated for the middle of the rows, which is not quite that of the span.
            true_hz = offset_hz + drift_hz * (fit.middle_s / _SPAN_S - 0.5)
            frequency_score = (fit.frequency_offset_hz - true_hz) / fit.frequency_offset_sd_hz
            scores.append(((fit.time_offset_s - late_s) / fit.time_offset_sd_s, frequency_score, fit.time_offset_sd_s))
    table = np.array(scores).reshape(-1, 3)
    rms = np.sqrt(np.mean(table[:, :2] ** 2, axis=0)) if len(table) else np.full(2, np.nan)
    sd = float(np.median(table[:, 2])) if len(table) else math.nan
    return TrackCell(frequency_hz, level_db_hz, recordings, found / recordings, float(rms[0]), float(rms[1]), sd)


class _Pass:
    """A straight fly-by, the recordings of its beacon around the predicted curve, and the search in them."""

    def __init__(self, frequency_hz: float) -> None:
        self._frequency_hz = frequency_hz
        self._search = TrackSearch(_TIME_OFFSET_S, OFFSET_PPM * 1e-6 * frequency_hz, DRIFT_PPM * 1e-6 * frequency_hz)
        steepest = frequency_hz * _SPEED_KM_S**2 / (_NEAREST_KM * _LIGHT_KM_S)
        sharpest = 0.86 * steepest * _SPEED_KM_S / _NEAREST_KM
        self._cell_s = min(1.0, 1 / math.sqrt(2 * _TIME_OFFSET_S * sharpest))
        band_hz = self._search.frequency_offset_hz + self._search.drift_hz + _TIME_OFFSET_S * steepest
        self._band_hz = 2.2 * band_hz + 50.0
        self._rate_hz = 1.3 * self._band_hz

    def curve(self, times_s: FloatArray) -> FloatArray:
        """Return the Doppler shift of a straight fly-by, nearest at the middle of the span."""
        along = _SPEED_KM_S * (times_s - _SPAN_S / 2)
        shift: FloatArray = -self._frequency_hz * _SPEED_KM_S * along / (_LIGHT_KM_S * np.hypot(_NEAREST_KM, along))
        return shift

    def recording(
        self, random: np.random.Generator, c_n0_db_hz: float, late_s: float, offset_hz: float, drift_hz: float
    ) -> NDArray[np.complex64]:
        """Return samples from which the prediction is taken off already."""
        n = int(_SPAN_S * self._rate_hz)
        samples = random.standard_normal(2 * n, dtype=np.float32).view(np.complex64) / np.float32(math.sqrt(2))
        if math.isinf(c_n0_db_hz):
            return samples
        times = np.arange(n) / self._rate_hz
        shift = self.curve(times - late_s) - self.curve(times) + offset_hz + drift_hz * (times / _SPAN_S - 0.5)
        phase = 2 * np.pi * np.cumsum(shift) / self._rate_hz
        amplitude = math.sqrt(10 ** (c_n0_db_hz / 10) / self._rate_hz)
        samples += (amplitude * np.exp(1j * phase)).astype(np.complex64)
        return samples

    def search(self, samples: NDArray[np.complex64], random: np.random.Generator) -> tuple[float, TrackFit | None]:
        """Return the false-alarm probability and, where there is one, the fit."""
        straightener = Straightener(np.zeros_like, self._cell_s, self._band_hz, self._rate_hz)
        times, powers = straightener.process(samples, 0.0)
        level = whitened(powers)
        found = find_track(level, times, straightener.bin_hz, self.curve, self._search, random)
        return found.false_alarm_probability, fit_track(level, times, straightener.bin_hz, self.curve, found)
