"""Was the satellite there? A recording read along a predicted Doppler curve, and the verdict with its odds."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.straighten import Straightener, whitened
from skyglint.dsp.track import TrackDetection, TrackSearch, find_track
from skyglint.dsp.track_fit import TrackFit, fit_track
from skyglint.errors import RequestError
from skyglint.plan.satellite_passes import site_place
from skyglint.signals.block import Block, Gap, Source
from skyglint.site import Site
from skyglint.sky.orbits.elements import Elements, position_error_km
from skyglint.sky.passes import find_passes
from skyglint.sky.satellites import (
    SPEED_OF_LIGHT_KM_S,
    Place,
    Satellite,
    emission_unix,
    path_km,
    satellite,
)
from skyglint.utc import format_utc

FloatArray = NDArray[np.float64]

#: A source is called detected when chance does as well less often than this.
DETECTED_BELOW = 1e-3
#: How far the beacon's and the receiver's oscillators may be off, and drift within a pass (common practice: crystal
#: oscillators with temperature compensation hold 2 ppm each).
OFFSET_PPM = 5.0
DRIFT_PPM = 0.5
_LEAST_TIME_OFFSET_S = 5.0
_LOW_ORBIT_KM_S = 7.5
_LONGEST_CELL_S = 1.0
SHORTEST_SPAN_S = 30.0
_NODE_S = 1.0
#: Error of the prediction's own frame (polar motion, UT1 taken as UTC: 30 m along a low orbit), in the time's error.
_FRAME_S = 0.004
#: Memory for the straightened spectrogram, in bins of all cells.
_MOST_BINS = 60_000_000


@dataclass(frozen=True, slots=True)
class Following:
    """What a recording says of a satellite's signal. NaN where nothing was measured.

    Attributes
    ----------
    detected
        Whether ``false_alarm_probability`` is below ``DETECTED_BELOW``.
    statistic, false_alarm_probability
        Sum along the curve in standard deviations, and how often chance does as well in the same data.
    time_offset_s, frequency_offset_hz, drift_hz
        How late the satellite came, how much higher its signal stood at ``middle_unix`` (oscillators of beacon and
        receiver), how much that changed from the first to the last cell; each with its standard error.
    start_unix, end_unix, middle_unix
        The span that was searched, and the middle of the cells in it.
    closest_unix
        When the way of the signal was shortest as measured: prediction plus time offset.
    measured_unix, measured_hz, residual_hz
        The measured Doppler curve, relative to the nominal frequency, and measured minus fitted, shape (k,).
    sentence
        The verdict in words.
    """

    detected: bool
    statistic: float
    false_alarm_probability: float
    time_offset_s: float
    time_offset_sd_s: float
    frequency_offset_hz: float
    frequency_offset_sd_hz: float
    drift_hz: float
    drift_sd_hz: float
    start_unix: float
    end_unix: float
    middle_unix: float
    closest_unix: float
    measured_unix: FloatArray
    measured_hz: FloatArray
    residual_hz: FloatArray
    sentence: str


@dataclass(frozen=True, slots=True)
class _Prediction:
    """The signal as predicted over a span; times in seconds from its start."""

    start_unix: float
    end_unix: float
    turns: Callable[[FloatArray], FloatArray]
    doppler_hz: Callable[[FloatArray], FloatArray]
    steepest_hz_s: float
    sharpest_hz_s2: float
    closest_s: float


def follow(
    source: Source,
    site: Site,
    elements: Elements,
    frequency_hz: float,
    transmitter: Place | None = None,
    *,
    span: tuple[float, float] | None = None,
    seed: int = 1,
    told: Callable[[float], None] = lambda unix: None,
) -> Following:
    """Search a recording, or what a receiver delivers during a pass, along a satellite's predicted curve.

    Parameters
    ----------
    frequency_hz
        Of the satellite's beacon, or of the carrier that it reflects.
    transmitter
        Where that carrier comes from; ``None`` for a beacon.
    span
        From when to when to look; ``None`` for the longest pass in a recording. A receiver is read until its end; only
        the powers around the curve are kept.
    seed
        For the curves along which chance is measured.
    told
        Is told how far the reading has come, POSIX seconds.

    Raises
    ------
    RequestError
        If the satellite is not up during the recording, or the source does not hold the frequency.
    """
    body, place = satellite(elements), site_place(site)
    start_unix, end_unix = span or _span(source, body, place, transmitter)
    predicted = _predict(body, place, transmitter, frequency_hz, start_unix, end_unix)
    search = _search(elements, frequency_hz, 0.5 * (start_unix + end_unix))
    times_s, powers, bin_hz = _straightened(source, site, predicted, frequency_hz, search, told)
    level = whitened(powers)
    found = find_track(level, times_s, bin_hz, predicted.doppler_hz, search, np.random.default_rng(seed))
    detected = found.false_alarm_probability < DETECTED_BELOW
    fit = fit_track(level, times_s, bin_hz, predicted.doppler_hz, found) if detected else None
    return _result(elements, predicted, times_s, found, fit)


def _span(source: Source, body: Satellite, place: Place, transmitter: Place | None) -> tuple[float, float]:
    """Return the longest stay in the recording during which all ends see the satellite."""
    info, name = source.info, body.elements.name
    if not math.isfinite(info.end_unix):
        raise RequestError(f"{info.name}: a receiver; expected a recording")
    stays = stays_in_sight(body, place, transmitter, info.start_unix, info.end_unix)
    low, high = max(stays, key=lambda stay: stay[1] - stay[0], default=(0.0, 0.0))
    if high - low < SHORTEST_SPAN_S:
        who = "the site" if transmitter is None else "site and transmitter together"
        raise RequestError(
            f"{info.name}: {name} is not in sight of {who} during the recording for {SHORTEST_SPAN_S:.0f} s or more"
        )
    return low, high


def stays_in_sight(
    body: Satellite, place: Place, transmitter: Place | None, start_unix: float, end_unix: float
) -> list[tuple[float, float]]:
    """Return from when to when all ends see a satellite, in order."""
    stays = [(one.start_unix, one.end_unix) for one in find_passes(body, place, start_unix, end_unix)]
    if transmitter is not None:
        other = find_passes(body, transmitter, start_unix, end_unix)
        both = [(max(low, one.start_unix), min(high, one.end_unix)) for low, high in stays for one in other]
        stays = [(low, high) for low, high in both if high > low]
    return stays


def _predict(
    body: Satellite,
    place: Place,
    transmitter: Place | None,
    frequency_hz: float,
    start_unix: float,
    end_unix: float,
) -> _Prediction:
    from scipy.interpolate import CubicSpline

    # A margin, because the search moves the curve in time.
    nodes = np.arange(-120.0, end_unix - start_unix + 120.0 + _NODE_S, _NODE_S)
    length = path_km(body.motion(emission_unix(body, place, start_unix + nodes)), place, transmitter)
    turns = CubicSpline(nodes, -length / SPEED_OF_LIGHT_KM_S * frequency_hz)
    inside = nodes[(nodes >= 0) & (nodes <= end_unix - start_unix)]
    return _Prediction(
        start_unix=start_unix,
        end_unix=end_unix,
        turns=turns,
        doppler_hz=turns.derivative(1),
        steepest_hz_s=float(np.abs(turns(inside, 2)).max()),
        sharpest_hz_s2=float(np.abs(turns(inside, 3)).max()),
        closest_s=float(nodes[np.argmin(length)]),
    )


def _search(elements: Elements, frequency_hz: float, unix: float) -> TrackSearch:
    late_s = position_error_km(elements.age_days(unix)) / _LOW_ORBIT_KM_S
    return TrackSearch(
        time_offset_s=min(max(_LEAST_TIME_OFFSET_S, 3 * late_s + 1.0), 60.0),
        frequency_offset_hz=OFFSET_PPM * 1e-6 * frequency_hz,
        drift_hz=DRIFT_PPM * 1e-6 * frequency_hz,
    )


def _straightened(
    source: Source,
    site: Site,
    predicted: _Prediction,
    frequency_hz: float,
    search: TrackSearch,
    told: Callable[[float], None],
) -> tuple[FloatArray, NDArray[np.float32], float]:
    """Return middles (s from the span's start), powers of the cells, and the width of a bin."""
    info = source.info
    moved_hz = search.time_offset_s * predicted.steepest_hz_s
    band_hz = 2.2 * (search.frequency_offset_hz + search.drift_hz + moved_hz) + 50.0
    cell_s = min(_LONGEST_CELL_S, 1 / math.sqrt(2 * search.time_offset_s * max(predicted.sharpest_hz_s2, 1e-6)))
    if (predicted.end_unix - predicted.start_unix) * band_hz > _MOST_BINS:
        raise RequestError(
            "the span times the searched band is too large: give fresher elements or a shorter recording"
        )
    # A fast clock makes every frequency look lower by its share (site file, correction_ppm).
    offset_hz = frequency_hz * (1 - 1e-6 * site.receiver.correction_ppm) - info.center_frequency_hz
    if not info.band_low_hz <= frequency_hz <= info.band_high_hz:
        raise RequestError(
            f"{info.name}: holds {info.band_low_hz / 1e6:g} to {info.band_high_hz / 1e6:g} MHz; "
            f"expected {frequency_hz / 1e6:g} MHz inside"
        )

    def turns(times_s: FloatArray) -> FloatArray:
        return predicted.turns(times_s) + offset_hz * times_s

    straightener = Straightener(turns, cell_s, min(band_hz, 0.9 * info.sample_rate_hz), info.sample_rate_hz)
    times: list[FloatArray] = [np.zeros(0)]
    powers: list[NDArray[np.float32]] = [np.zeros((0, len(straightener.offsets_hz)), np.float32)]
    stretch = -1
    for block in until(source, predicted.end_unix):
        if isinstance(block, Gap):
            continue
        if block.stretch != stretch:
            straightener.reset()
            stretch = block.stretch
        told(block.start_unix)
        skip = max(0, math.ceil((predicted.start_unix - block.start_unix) * block.sample_rate_hz))
        if skip < block.n_samples:
            first_s = block.start_unix - predicted.start_unix + skip / block.sample_rate_hz
            middles, rows = straightener.process(block.samples[skip:], first_s)
            times.append(middles)
            powers.append(rows)
    all_times, all_powers = np.concatenate(times), np.concatenate(powers)
    # Rows without signal (a receiver that delivered zeros) say nothing.
    within = (all_times < predicted.end_unix - predicted.start_unix) & (all_powers.max(axis=1) > 0)
    if np.count_nonzero(within) * straightener.cell_s < SHORTEST_SPAN_S:
        raise RequestError(f"{info.name}: less than {SHORTEST_SPAN_S:.0f} s of samples while the satellite is in sight")
    return all_times[within], all_powers[within], straightener.bin_hz


def until(source: Source, end_unix: float) -> Iterator[Block | Gap]:
    """Yield what a source delivers before a time; what comes later in a recording is passed over."""
    for item in source.blocks():
        if item.start_unix < end_unix:
            yield item
        elif not math.isfinite(source.info.end_unix):
            return


def _result(
    elements: Elements, predicted: _Prediction, times_s: FloatArray, found: TrackDetection, fit: TrackFit | None
) -> Following:
    if found.false_alarm_probability >= DETECTED_BELOW:
        values, errors = np.full(3, math.nan), np.full(3, math.nan)
    elif fit is None:
        # Good to a step of the search, taken as evenly spread.
        values = np.array([found.time_offset_s, found.frequency_offset_hz, found.drift_hz])
        errors = np.array([found.time_step_s, found.frequency_step_hz, found.frequency_step_hz]) / math.sqrt(12)
    else:
        values = np.array([fit.time_offset_s, fit.frequency_offset_hz, fit.drift_hz])
        errors = np.array([fit.time_offset_sd_s, fit.frequency_offset_sd_hz, fit.drift_sd_hz])
    measured_s, residual_hz = (np.zeros(0), np.zeros(0)) if fit is None else (fit.times_s, fit.residuals_hz)
    along = (measured_s - times_s[0]) / float(np.ptp(times_s)) - 0.5
    fitted_hz = predicted.doppler_hz(measured_s - values[0]) + values[1] + values[2] * along
    return Following(
        detected=found.false_alarm_probability < DETECTED_BELOW,
        statistic=found.statistic,
        false_alarm_probability=found.false_alarm_probability,
        time_offset_s=float(values[0]),
        time_offset_sd_s=math.hypot(float(errors[0]), _FRAME_S),
        frequency_offset_hz=float(values[1]),
        frequency_offset_sd_hz=float(errors[1]),
        drift_hz=float(values[2]),
        drift_sd_hz=float(errors[2]),
        start_unix=predicted.start_unix,
        end_unix=predicted.end_unix,
        middle_unix=predicted.start_unix + 0.5 * float(times_s[0] + times_s[-1]),
        closest_unix=predicted.start_unix + predicted.closest_s + float(values[0]),
        measured_unix=predicted.start_unix + measured_s,
        measured_hz=fitted_hz + residual_hz,
        residual_hz=residual_hz,
        sentence=_sentence(elements, predicted, found, values, errors, residual_hz),
    )


def _sentence(
    elements: Elements,
    predicted: _Prediction,
    found: TrackDetection,
    values: FloatArray,
    errors: FloatArray,
    residual_hz: FloatArray,
) -> str:
    odds = f"chance alone does as well with a probability of {max(found.false_alarm_probability, 1e-12):.0e}"
    time_s, offset_hz, _ = (float(value) for value in values)
    if math.isnan(time_s):
        return f"{elements.name}: not detected; {odds} ({found.statistic:.1f} standard deviations along the curve)."
    closest = format_utc(predicted.start_unix + predicted.closest_s + time_s, 1)
    parts = [
        f"{elements.name}: detected; {odds}.",
        _lateness(elements.age_days(predicted.start_unix), time_s, math.hypot(float(errors[0]), _FRAME_S)),
        f"Closest approach at {closest}; the signal stood {offset_hz:+.2f} ± {float(errors[1]):.2f} Hz off.",
    ]
    if len(residual_hz):
        rms_hz = float(np.sqrt(np.mean(residual_hz**2)))
        parts.append(f"{len(residual_hz)} points of the curve lie {rms_hz:.2f} Hz off the fit (root mean square).")
    return " ".join(parts)


def _lateness(age_days: float, time_s: float, sd_s: float) -> str:
    """Say how late the satellite came, and how well the age of its elements explains that."""
    usual_s = position_error_km(age_days) / _LOW_ORBIT_KM_S
    far = f"{abs(time_s) * _LOW_ORBIT_KM_S:.1f} km along a low orbit"
    came = f"It came {abs(time_s):.3f} ± {sd_s:.3f} s {'late' if time_s >= 0 else 'early'}, about {far}: "
    usual = f"elements {abs(age_days):.1f} days {'old' if age_days >= 0 else 'ahead'} err by about {usual_s:.1f} s"
    if abs(time_s) > 3 * usual_s + 3 * sd_s:
        return f"{came}{usual}, so more than their age explains; a manoeuvre, or a clock that is off."
    return f"{came}{usual}."
