"""Measured points with their intervals along one axis, with the lines that were fitted or expected."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from skyglint.report.figures.hours import nice_step
from skyglint.report.figures.svg import element, figure, polyline
from skyglint.report.numbers import fixed

LEFT_PX, RIGHT_PX, TOP_PX, BOTTOM_PX = 38.0, 8.0, 12.0, 36.0


@dataclass(frozen=True, slots=True)
class Point:
    """One measured value at ``x`` with its limits and its words; a NaN leaves it out."""

    x: float
    value: float
    low: float
    high: float
    words: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points, NaN breaks it; ``kind`` is ``fitted`` or ``expected``."""

    kind: str
    points: Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Axis:
    """The horizontal axis: its ends, ticks with their texts, and what it shows."""

    low: float
    high: float
    ticks: Sequence[tuple[float, str]]
    name: str


def points_chart(
    label: str,
    axis: Axis,
    unit: str,
    points: Sequence[Point],
    lines: Sequence[Line] = (),
    dark: Iterable[tuple[float, float]] = (),
    width: float = 340.0,
    height: float = 200.0,
    from_zero: bool = True,
) -> Markup:
    """Return the chart.

    Parameters
    ----------
    label
        Alternative text.
    axis, unit
        Horizontal axis, and the unit of the vertical one.
    points, lines
        What was measured, and what is drawn under it.
    dark
        Spans of ``x`` in which nothing was watched: hatched paper.
    from_zero
        Whether the vertical axis begins at zero, or below it where a value does.
    """
    seen = [point for point in points if math.isfinite(point.value)]
    low, high = _reach(seen, lines, from_zero)
    base = height - BOTTOM_PX

    def at_x(x: float) -> float:
        return LEFT_PX + (width - LEFT_PX - RIGHT_PX) * (x - axis.low) / (axis.high - axis.low)

    def at_y(y: float) -> float:
        return base - (base - TOP_PX) * min(max((y - low) / (high - low), 0.0), 1.0)

    step = nice_step(high - low, 4)
    decimals = max(0, -math.floor(math.log10(step)))
    levels = [k * step for k in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]
    parts = [
        element("rect", x=at_x(a), y=TOP_PX, width=at_x(b) - at_x(a), height=base - TOP_PX, fill="url(#hatch)")
        for a, b in dark
    ]
    for level in levels:
        parts.append(element("line", x1=LEFT_PX, x2=width - RIGHT_PX, y1=at_y(level), y2=at_y(level), class_="rule"))
        parts.append(element("text", fixed(level, decimals), x=LEFT_PX - 5.0, y=at_y(level) + 4.0, class_="small end"))
    for line in lines:
        data = polyline((at_x(x), at_y(y)) for x, y in line.points)
        parts.append(element("path", d=data, class_=line.kind))
    for point in seen:
        parts += _mark(point, at_x(point.x), at_y(point.value), at_y(point.low), at_y(point.high))
    parts.append(element("line", x1=LEFT_PX, x2=width - RIGHT_PX, y1=base, y2=base, class_="axis"))
    for x, text in axis.ticks:
        parts.append(element("line", x1=at_x(x), x2=at_x(x), y1=base, y2=base + 4.0, class_="axis"))
        anchor = "small end" if at_x(x) > width - 16.0 else "small middle"
        parts.append(element("text", text, x=min(at_x(x), width), y=base + 17.0, class_=anchor))
    parts.append(element("text", axis.name, x=width - RIGHT_PX, y=height - 3.0, class_="small end"))
    parts.append(element("text", unit, x=LEFT_PX + 4.0, y=TOP_PX + 2.0, class_="level"))
    return figure(label, width, height, *parts)


def _reach(points: Sequence[Point], lines: Sequence[Line], from_zero: bool) -> tuple[float, float]:
    """Return the ends of the vertical axis: all values fit; limits do as far as they are not wild."""
    values = [point.value for point in points] + [y for line in lines for _, y in line.points if math.isfinite(y)]
    highest, lowest = max(values, default=1.0), min(values, default=0.0)
    reach = max(highest - min(lowest, 0.0 if from_zero else lowest), abs(highest) * 0.02, 1e-9)
    tops = [point.high for point in points if math.isfinite(point.high) and point.high < highest + 0.6 * reach]
    bottoms = [point.low for point in points if math.isfinite(point.low) and point.low > lowest - 0.6 * reach]
    top = max([highest, *tops])
    bottom = min([lowest, *bottoms] + ([0.0] if from_zero else []))
    margin = 0.06 * max(top - bottom, 1e-9)
    return (bottom if from_zero and bottom == 0.0 else bottom - margin), top + margin


def _mark(point: Point, x: float, y: float, low_y: float, high_y: float) -> list[Markup]:
    parts = []
    if math.isfinite(point.low) and math.isfinite(point.high):
        parts.append(element("line", x1=x, x2=x, y1=low_y, y2=high_y, class_="whisker"))
    title = [element("title", point.words)] if point.words else []
    parts.append(element("circle", *title, cx=x, cy=y, r=2.6, class_="dot"))
    return parts
