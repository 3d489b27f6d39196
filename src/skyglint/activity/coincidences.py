"""Echoes that two channels (or two sites) have at the same time, against chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

#: Shifted comparisons on either side; together they fix the chance level to 16 % at one coincidence each.
_SHIFTS = 20


@dataclass(frozen=True, slots=True)
class Coincidences:
    """How many echoes of one channel have a partner in the other.

    Attributes
    ----------
    first, second
        Echoes of the two channels within the time that both watched.
    together
        Echoes of the first with one of the second within the window.
    by_chance
        The same after shifting the second channel in time, mean of forty shifts.
    probability
        Probability of as many, or more, by chance; NaN when nothing can be compared.
    """

    first: int
    second: int
    together: int
    by_chance: float
    probability: float


def coincidences(
    first_unix: ArrayLike, second_unix: ArrayLike, watched_unix: ArrayLike, window_s: float
) -> Coincidences:
    """Count coincidences within ``window_s`` either way.

    Parameters
    ----------
    first_unix, second_unix
        Starts of the echoes.
    watched_unix
        Spans that both channels watched, shape (m, 2), in order and without overlap.
    window_s
        Largest difference in time.

    Notes
    -----
    The chance level comes from shifting one channel by 10, 20, ... windows along the watched time, around its end:
    that keeps both channels' slow changes of rate, which a product of mean rates would ignore. Given all counts, the
    unshifted one is then binomial.
    """
    spans = np.asarray(watched_unix, dtype=np.float64).reshape(-1, 2)
    a, b = _live_s(first_unix, spans), np.sort(_live_s(second_unix, spans))
    live_s = float(np.sum(spans[:, 1] - spans[:, 0]))
    steps = [k * 10.0 * window_s for k in range(-_SHIFTS, _SHIFTS + 1) if k]
    if live_s < 2.2 * max(steps) or not len(a) or not len(b):
        return Coincidences(len(a), len(b), _together(a, b, window_s), np.nan, np.nan)
    together = _together(a, b, window_s)
    shifted = sum(_together(a, np.sort((b + step) % live_s), window_s) for step in steps)
    total = together + shifted
    probability = float(special.bdtrc(together - 1, total, 1.0 / (1 + len(steps)))) if together else 1.0
    return Coincidences(len(a), len(b), together, shifted / len(steps), probability)


def _live_s(times_unix: ArrayLike, spans: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the times as seconds of watched time; those outside the spans are left out."""
    times = np.asarray(times_unix, dtype=np.float64)
    before = np.concatenate([[0.0], np.cumsum(spans[:, 1] - spans[:, 0])])
    index = np.searchsorted(spans[:, 0], times, side="right") - 1
    inside = (index >= 0) & (times < spans[np.maximum(index, 0), 1]) if len(spans) else np.zeros(len(times), bool)
    live: NDArray[np.float64] = before[index[inside]] + times[inside] - spans[index[inside], 0]
    return live


def _together(first: NDArray[np.float64], second_sorted: NDArray[np.float64], window_s: float) -> int:
    left = np.searchsorted(second_sorted, first - window_s, side="left")
    right = np.searchsorted(second_sorted, first + window_s, side="right")
    return int(np.sum(right > left))
