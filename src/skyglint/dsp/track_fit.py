"""A found track measured: frequencies along it, and from them time offset, frequency offset and drift with errors."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.straighten import hann_line
from skyglint.dsp.track import Curve, FloatArray, TrackDetection

_MOST_POINTS = 80
_LEAST_POINTS = 6
_DEVIATIONS_A_POINT = 8.0
_OUTLIER = 4.0
_ROUNDS = 3
#: Places around the strongest bin at which a line is tried.
_TRIED_BINS = np.linspace(-1.0, 1.0, 21)


@dataclass(frozen=True, slots=True)
class TrackFit:
    """Offsets of a track from its prediction, with standard errors, and what the fit leaves over.

    Attributes
    ----------
    time_offset_s, frequency_offset_hz, drift_hz
        As in :class:`~skyglint.dsp.track.TrackDetection`; the frequency offset is that at ``middle_s``, the drift its
        change from the first to the last row.
    middle_s
        Half way between the middles of the first and the last row.
    times_s, residuals_hz
        Where the track was measured, and measured minus fitted frequency there, shape (k,).
    """

    time_offset_s: float
    time_offset_sd_s: float
    frequency_offset_hz: float
    frequency_offset_sd_hz: float
    drift_hz: float
    drift_sd_hz: float
    middle_s: float
    times_s: FloatArray
    residuals_hz: FloatArray


def fit_track(
    powers: NDArray[np.float32], times_s: FloatArray, bin_hz: float, curve: Curve, found: TrackDetection
) -> TrackFit | None:
    """Measure a detected track and fit its offsets by least squares; ``None`` when too little of it stands out.

    The spectrogram is summed along the track in as many pieces as its strength allows; the line in each gives a
    frequency, and the scatter of these about the fit gives the errors. Points beyond four deviations are left out.
    """
    values = np.array([found.time_offset_s, found.frequency_offset_hz, found.drift_hz])
    reach_hz = 3 * found.frequency_step_hz
    pieces = _pieces(found.statistic, len(powers))
    for _ in range(_ROUNDS):
        if pieces < _LEAST_POINTS:
            return None
        middles, measured, strength = _measure(powers, times_s, bin_hz, curve, values, pieces, reach_hz)
        design = _design(middles, times_s, curve, values[0])
        change, errors, residuals, kept = _least_squares(design, measured)
        values = values + change
        reach_hz = min(reach_hz, max(6 * float(np.std(residuals[kept])), 4 * bin_hz))
        # Now that the track is straight, it stands out more.
        pieces = max(pieces, _pieces(strength, len(powers)))
    if not np.isfinite(errors).all():
        return None
    return TrackFit(
        time_offset_s=float(values[0]),
        time_offset_sd_s=float(errors[0]),
        frequency_offset_hz=float(values[1]),
        frequency_offset_sd_hz=float(errors[1]),
        drift_hz=float(values[2]),
        drift_sd_hz=float(errors[2]),
        middle_s=0.5 * float(times_s[0] + times_s[-1]),
        times_s=middles[kept],
        residuals_hz=residuals[kept],
    )


def _pieces(strength: float, rows: int) -> int:
    """Return how many pieces stand out each, of a track that as a whole stands out by so many deviations."""
    return int(min(_MOST_POINTS, (strength / _DEVIATIONS_A_POINT) ** 2, rows // 4))


def _along(times_s: FloatArray, all_times_s: FloatArray) -> FloatArray:
    span: FloatArray = (times_s - all_times_s[0]) / max(float(np.ptp(all_times_s)), 1e-9) - 0.5
    return span


def _measure(
    powers: NDArray[np.float32],
    times_s: FloatArray,
    bin_hz: float,
    curve: Curve,
    values: FloatArray,
    pieces: int,
    reach_hz: float,
) -> tuple[FloatArray, FloatArray, float]:
    """Return the middles of the pieces, how far the track is from the present values there (Hz), and its strength.

    The strength is the greatest sum over all rows in standard deviations of such sums.
    """
    m = powers.shape[1]
    shift_hz = curve(times_s - values[0]) - curve(times_s) + values[1] + values[2] * _along(times_s, times_s)
    shift = shift_hz / bin_hz
    whole = np.rint(shift).astype(np.int64)
    reach = max(2, round(reach_hz / bin_hz))
    columns = np.arange(-reach, reach + 1)
    straight = powers[np.arange(len(powers))[:, None], (m // 2 + whole[:, None] + columns) % m]
    middles, measured = [], []
    for rows in np.array_split(np.arange(len(powers)), pieces):
        middles.append(float(times_s[rows].mean()))
        excess = straight[rows].sum(axis=0) - len(rows)
        measured.append(_place(excess, columns, shift[rows] - whole[rows]) * bin_hz)
    strength = (float(straight.sum(axis=0).max()) - len(powers)) / math.sqrt(len(powers))
    return np.array(middles), np.array(measured), strength


def _place(excess: FloatArray, columns: NDArray[np.int64], rest: FloatArray) -> float:
    """Return where a line stands, in bins, that was moved by whole bins and in each row lacked a rest of a bin.

    The place at which the line's own shape, at the rests of the rows, fits the sum of them best: a mean over a few bins
    would lean towards the middle of the strongest, and all pieces alike.
    """
    near = float(columns[int(np.argmax(excess))]) + _TRIED_BINS
    shape = hann_line(columns - near[:, None, None] - rest[:, None]).mean(axis=1)
    fit = shape @ excess / np.linalg.norm(shape, axis=1)
    top = int(np.clip(np.argmax(fit), 1, len(fit) - 2))
    bend = fit[top - 1] - 2 * fit[top] + fit[top + 1]
    beside = 0.5 * (fit[top - 1] - fit[top + 1]) / bend if bend < 0 else 0.0
    return float(near[top] + np.clip(beside, -1.0, 1.0) * (near[1] - near[0]))


def _design(middles_s: FloatArray, times_s: FloatArray, curve: Curve, offset_s: float) -> FloatArray:
    """Return how the frequency changes with time offset, frequency offset and drift, shape (k, 3)."""
    step_s = 0.05
    slope = (curve(middles_s - offset_s + step_s) - curve(middles_s - offset_s - step_s)) / (2 * step_s)
    return np.stack([-slope, np.ones_like(middles_s), _along(middles_s, times_s)], axis=-1)


def _least_squares(
    design: FloatArray, measured: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, NDArray[np.bool_]]:
    """Return the solution, its standard errors, the residuals and which points were kept."""
    kept: NDArray[np.bool_] = np.full(measured.shape, True)
    solution: FloatArray = np.zeros(design.shape[1])
    for _ in range(4):
        solution[:] = np.linalg.lstsq(design[kept], measured[kept], rcond=None)[0]
        residuals = measured - design @ solution
        # 1.4826 times the median of the sizes is the deviation of normal errors.
        spread = 1.4826 * float(np.median(np.abs(residuals[kept])))
        kept[:] = np.abs(residuals) <= max(_OUTLIER * spread, 1e-9)
    # Few points know their own scatter badly: Student's law has this variance (NaN below three degrees of freedom).
    freedom = int(kept.sum()) - 3
    variance = float(residuals[kept] @ residuals[kept]) / (freedom - 2) if freedom > 2 else math.nan
    covariance = np.linalg.pinv(design[kept].T @ design[kept]) * variance
    errors = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return (
        solution,
        np.asarray(errors if math.isfinite(variance) else np.full(3, np.nan)),
        residuals,
        np.array(kept, np.bool_),
    )
