"""Passes: when a satellite rises, culminates and sets at a place."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from skyglint.sky.earth import Array
from skyglint.sky.satellites import Place, Satellite

#: A coarse look at the sky; the refinement finds passes of a few seconds between two looks.
_STEP_S = 30.0
_FINE_S = 1e-3


@dataclass(frozen=True, slots=True)
class Pass:
    """One stay above an elevation.

    Attributes
    ----------
    rise_unix, set_unix
        Crossings of the least elevation; NaN when the satellite was up before the span, or still is after it.
    culmination_unix, max_elevation_deg
        The highest point within the span.
    start_unix, end_unix
        The stay within the span: rise or the span's start, set or its end.
    """

    rise_unix: float
    culmination_unix: float
    set_unix: float
    max_elevation_deg: float
    start_unix: float
    end_unix: float


def find_passes(
    body: Satellite, place: Place, start_unix: float, end_unix: float, least_elevation_deg: float = 0.0
) -> list[Pass]:
    """Return the passes within a span, in order; one under way at either end counts from or to it."""

    def elevation(unix: Array) -> Array:
        return np.nan_to_num(body.look(place, unix).elevation_deg, nan=-90.0)

    return list(_stays(elevation, start_unix, end_unix, least_elevation_deg))


def _stays(height: Callable[[Array], Array], start: float, end: float, least: float) -> Iterator[Pass]:
    """Yield the stays of a smooth function above a level: highest points first, then the crossings around them."""
    times = np.linspace(start, end, max(3, math.ceil((end - start) / _STEP_S) + 1))
    values = height(times)
    padded = np.concatenate([[-np.inf], values, [-np.inf]])
    after = start
    for top in np.flatnonzero((values >= padded[:-2]) & (values > padded[2:])).tolist():
        unix, highest = _highest(height, times[max(top - 1, 0)], times[min(top + 1, len(times) - 1)])
        if highest <= least or unix < after:
            continue
        below = np.flatnonzero(values <= least)
        before, behind = below[times[below] < unix], below[times[below] > unix]
        rise = _crossing(height, least, times[before[-1]], unix) if len(before) else math.nan
        setting = _crossing(height, least, times[behind[0]], unix) if len(behind) else math.nan
        after = setting if len(behind) else end
        first, last = (start if math.isnan(rise) else rise), (end if math.isnan(setting) else setting)
        inside = values[(times > first) & (times < last)]
        if len(inside) and inside.max() > highest:
            # A high orbit may have several tops in one stay: the highest counts.
            best = int(np.argmax(np.where((times > first) & (times < last), values, -np.inf)))
            unix, highest = _highest(height, times[max(best - 1, 0)], times[min(best + 1, len(times) - 1)])
        yield Pass(rise, unix, setting, highest, first, last)


def _highest(height: Callable[[Array], Array], low: float, high: float) -> tuple[float, float]:
    """Return where the one maximum between two times is, and its value."""
    while True:
        times = np.linspace(low, high, 21)
        values = height(times)
        top = int(np.argmax(values))
        if high - low < 20 * _FINE_S:
            return float(times[top]), float(values[top])
        low, high = float(times[max(top - 1, 0)]), float(times[min(top + 1, 20)])


def _crossing(height: Callable[[Array], Array], level: float, below: float, above: float) -> float:
    """Return when the level is crossed between a time below it and one above, to a millisecond."""
    while abs(above - below) > _FINE_S:
        times = np.linspace(below, above, 21)
        up = int(np.argmax(height(times) > level))
        below, above = float(times[up - 1]), float(times[up])
    return 0.5 * (below + above)
