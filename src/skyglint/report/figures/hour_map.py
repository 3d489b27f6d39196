"""The map of hours by days: a column a night, a row an hour of local solar time, ink for the rate."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from skyglint.report.figures.hours import nice_step
from skyglint.report.figures.svg import element, figure, short
from skyglint.report.numbers import fixed

#: Steps of the ramp from paper to ink.
STEPS = 12
SWATCH_PX = 13.0
LEFT_PX, RIGHT_PX, TOP_PX, BOTTOM_PX, KEY_PX = 40.0, 8.0, 6.0, 20.0, 40.0

#: From solar noon to the next noon, as a night runs: the rows in their order.
ORDER = [*range(12, 24), *range(12)]


def map_top(rates: NDArray[np.float64]) -> float:
    """Return the rate that full ink stands for: a round number that 98 % of the hours stay under."""
    known = rates[np.isfinite(rates)]
    highest = float(np.percentile(known, 98.0)) if known.size else 0.0
    step = nice_step(highest, 8)
    return max(step * math.ceil(highest / step), 1.0)


def ramp_step(rate: float, top: float) -> int:
    """Return a rate's step on the ramp: ink grows with the root of the rate, so that quiet hours still differ."""
    return min(int(math.sqrt(max(rate, 0.0) / top) * STEPS), STEPS - 1)


def ramp_ink(step: int) -> float:
    """Return how much ink a step has, 0 to 1."""
    return round((step + 0.3) / (STEPS - 0.7), 2)


def hour_map(
    label: str, rates: NDArray[np.float64], ticks: Sequence[tuple[int, str]], width: float, row_px: float = 10.0
) -> Markup:
    """Return the map.

    Parameters
    ----------
    label
        Alternative text.
    rates
        By local solar hour and night, shape (24, n), per hour; NaN where nothing was watched, which is hatched.
    ticks
        Columns that are named, and their names.
    """
    n = rates.shape[1]
    top = map_top(rates)
    cell = (width - LEFT_PX - RIGHT_PX) / n
    gap = 0.6 if cell > 6.0 else 0.0
    grid = rates[ORDER]
    step = np.where(np.isfinite(grid), np.vectorize(ramp_step)(np.nan_to_num(grid), top), -1)
    height = TOP_PX + 24 * row_px + BOTTOM_PX + KEY_PX
    base = TOP_PX + 24 * row_px
    parts = [_cells(step, value, cell, row_px, gap) for value in np.unique(step)]
    for row, hour in ((0, 12), (6, 18), (12, 0), (18, 6), (24, 12)):
        y = TOP_PX + row * row_px
        parts.append(element("text", f"{hour}\u202fh", x=LEFT_PX - 6.0, y=y + 4.0, class_="small end"))
        parts.append(element("line", x1=LEFT_PX - 4.0, x2=LEFT_PX, y1=y, y2=y, class_="axis"))
    for column, text in ticks:
        x = LEFT_PX + (column + 0.5) * cell
        anchor = "small middle" if n < 60 else "small"
        parts.append(element("text", text, x=x, y=base + 14.0, class_=anchor))
    return figure(label, width, height, *parts, *_key(top, height - 12.0), class_="figure map")


def _cells(step: NDArray[np.int_], value: int, cell: float, row_px: float, gap: float) -> Markup:
    """Return all cells of one step as one path."""
    data = []
    for row, column in zip(*np.nonzero(step == value), strict=True):
        x, y = LEFT_PX + column * cell + gap / 2.0, TOP_PX + row * row_px + gap / 2.0
        w, h = cell - gap, row_px - gap
        data.append(f"M{short(x)} {short(y)}h{short(w)}v{short(h)}h-{short(w)}z")
    if value < 0:
        return element("path", d="".join(data), fill="url(#hatch)")
    return element("path", d="".join(data), class_="ramp", fill_opacity=ramp_ink(value))


def _key(top: float, y: float) -> list[Markup]:
    """Return the ramp with the rates that it stands for."""
    parts = []
    for value in range(STEPS):
        x = LEFT_PX + SWATCH_PX * value
        parts.append(
            element("rect", x=x, y=y, width=SWATCH_PX, height=9.0, class_="ramp edged", fill_opacity=ramp_ink(value))
        )
    end = LEFT_PX + SWATCH_PX * STEPS
    parts.append(element("text", "0", x=LEFT_PX - 6.0, y=y + 9.0, class_="small end"))
    parts.append(element("text", fixed(top / 4.0), x=(LEFT_PX + end) / 2.0, y=y - 3.0, class_="small middle"))
    parts.append(element("text", f"{fixed(top)} and more / h", x=end + 6.0, y=y + 9.0, class_="small"))
    return parts
