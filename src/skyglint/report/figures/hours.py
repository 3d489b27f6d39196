"""Rates by the hour: a bar for each hour, as wide as the hour was watched, with its interval as a whisker."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from skyglint.report.figures.svg import element, figure
from skyglint.report.numbers import clock, fixed

WIDTH_PX, HEIGHT_PX = 280.0, 150.0
LEFT_PX, TOP_PX, BOTTOM_PX = 30.0, 8.0, 36.0
#: Room that a digit of a count takes, and that the last time needs from the one before it.
DIGIT_PX, EDGE_PX = 7.4, 62.0


@dataclass(frozen=True, slots=True)
class Bar:
    """One hour: when, how much of it was watched (0 to 1), what was counted, the rate and its limits per hour."""

    start_unix: float
    watched_share: float
    echoes: int
    rate_per_h: float
    low_per_h: float
    high_per_h: float


def nice_step(top: float, most: int = 5) -> float:
    """Return a step of 1, 2 or 5 times a power of ten with at most that many steps up to ``top``.

    Examples
    --------
    >>> nice_step(37.0), nice_step(3.0), nice_step(0.0)
    (10.0, 1.0, 1.0)
    """
    if top <= 0.0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(top / most))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if top / (step * power) <= most)


def ceiling(bars: Sequence[Bar]) -> float:
    """Return the rate that the top of the figure stands for: the highest limit, short of wild ones from short watches.

    A limit may pass the top; its whisker then ends there with an arrow. The bars always fit.
    """
    highest = max((bar.rate_per_h for bar in bars if not math.isnan(bar.rate_per_h)), default=0.0)
    limits = [bar.high_per_h for bar in bars if bar.watched_share >= 0.5 and math.isfinite(bar.high_per_h)]
    return max([1.2 * highest, *limits, 1.0])


def hour_bars(label: str, bars: Sequence[Bar], top_per_h: float) -> Markup:
    """Return the bars of one channel over consecutive hours; an hour that was not watched stays hatched.

    The area of a bar is its count (but for the dead time), because its width is the time watched.
    """
    base = HEIGHT_PX - BOTTOM_PX
    slot = (WIDTH_PX - LEFT_PX) / max(len(bars), 1)
    step = nice_step(top_per_h)
    levels = [index * step for index in range(int(top_per_h / step) + 1)]
    rules = [part for level in levels for part in _rule(level, _y(level, top_per_h, base))]
    columns = [
        part for index, bar in enumerate(bars) for part in _column(bar, LEFT_PX + index * slot, slot, top_per_h, base)
    ]
    axis = element("line", x1=LEFT_PX, x2=WIDTH_PX, y1=base, y2=base, class_="axis")
    return figure(label, WIDTH_PX, HEIGHT_PX, *rules, *columns, axis, *_hours(bars, slot, base))


def _y(rate: float, top: float, base: float) -> float:
    return base - (base - TOP_PX) * min(rate / top, 1.0)


def _rule(level: float, y: float) -> tuple[Markup, Markup]:
    return (
        element("line", x1=LEFT_PX, x2=WIDTH_PX, y1=y, y2=y, class_="rule"),
        element("text", fixed(level), x=LEFT_PX - 6.0, y=y + 4.0, class_="small end"),
    )


def _column(bar: Bar, left: float, slot: float, top: float, base: float) -> list[Markup]:
    if math.isnan(bar.rate_per_h):
        return [element("rect", x=left + 1.0, y=TOP_PX, width=slot - 2.0, height=base - TOP_PX, fill="url(#hatch)")]
    width = max(3.0, (slot - 2.0) * bar.watched_share)
    middle = left + slot / 2.0
    y = _y(bar.rate_per_h, top, base)
    parts = [element("rect", x=middle - width / 2.0, y=y, width=width, height=base - y, class_="bar")]
    if math.isfinite(bar.high_per_h):
        high, low = _y(bar.high_per_h, top, base), _y(bar.low_per_h, top, base)
        parts.append(element("line", x1=middle, x2=middle, y1=low, y2=high, class_="whisker-paper"))
        parts.append(element("line", x1=middle, x2=middle, y1=low, y2=high, class_="whisker"))
        if bar.high_per_h > top:
            arrow = f"M{middle - 3.5:.1f} {high + 5:.1f} {middle:.1f} {high:.1f} {middle + 3.5:.1f} {high + 5:.1f}"
            parts.append(element("path", d=arrow, class_="whisker"))
    return parts


def _hours(bars: Sequence[Bar], slot: float, base: float) -> list[Markup]:
    every = max(1, math.ceil(44.0 / slot))
    widest = max((len(fixed(bar.echoes)) for bar in bars), default=1)
    texts = [
        element("text", fixed(bar.echoes), x=LEFT_PX + (index + 0.5) * slot, y=base + 13.0, class_="count middle")
        for index, bar in enumerate(bars)
        if not math.isnan(bar.rate_per_h) and DIGIT_PX * widest < slot
    ]
    edges = [bar.start_unix for bar in bars] + [bars[-1].start_unix + 3600.0 for _ in bars[:1]]
    for index in range(0, len(edges), every):
        x = LEFT_PX + index * slot
        texts.append(element("line", x1=x, x2=x, y1=base, y2=base + 4.0, class_="axis"))
        at_edge = x > WIDTH_PX - 18.0
        if at_edge and index and every * slot < EDGE_PX:
            continue
        texts.append(
            element(
                "text",
                clock(edges[index], -1),
                x=x,
                y=HEIGHT_PX - 4.0,
                class_="small end" if at_edge else "small middle",
            )
        )
    return texts
