"""A year of showers: one band a shower over its window of activity, with a mark at its maximum."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from skyglint.report.figures.svg import element, figure

TOP_PX, ROW_PX, BOTTOM_PX = 8.0, 18.0, 26.0


@dataclass(frozen=True, slots=True)
class Band:
    """One shower: its short name, words, window and maximum; positions as shares of the year, NaN where not known.

    ``strong`` is the share of the strongest, 0 to 1, and makes the band darker.
    """

    name: str
    words: str
    start: float
    end: float
    maximum: float
    strong: float


def year_bands(label: str, bands: Sequence[Band], months: Sequence[tuple[float, str]], width: float) -> Markup:
    """Return the chart: time to the right, one row a band; what runs over an end of the year is cut there.

    ``months`` are the starts of months as shares of the year, with their names.
    """
    left = 46.0
    height = TOP_PX + ROW_PX * len(bands) + BOTTOM_PX
    base = height - BOTTOM_PX

    def at(share: float) -> float:
        return left + (width - left - 6.0) * min(max(share, 0.0), 1.0)

    parts = [element("line", x1=at(share), x2=at(share), y1=TOP_PX, y2=base, class_="rule") for share, _ in months]
    parts += [element("text", name, x=at(share) + 2.0, y=base + 16.0) for share, name in months]
    for row, band in enumerate(bands):
        y = TOP_PX + ROW_PX * (row + 0.5)
        marks = [element("title", band.words)]
        if not math.isnan(band.start):
            begin, end = at(band.start), at(band.end)
            tone = 0.25 + 0.75 * band.strong
            wide = max(end - begin, 2.0)
            marks.append(element("rect", x=begin, y=y - 4.0, width=wide, height=8.0, class_="bar", fill_opacity=tone))
        marks.append(element("circle", cx=at(band.maximum), cy=y, r=4.5, class_="fell"))
        parts.append(element("text", band.name, x=left - 6.0, y=y + 4.0, class_="end"))
        parts.append(element("g", *marks))
    parts.append(element("line", x1=left, x2=width - 6.0, y1=base, y2=base, class_="axis"))
    return figure(label, width, height, *parts)
