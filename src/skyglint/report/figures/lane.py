"""A lane: one channel's power over its floor through the night, with the marks of its echoes above."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from skyglint.report.figures.marks import Mark
from skyglint.report.figures.svg import area, element, percent
from skyglint.report.figures.timescale import TimeScale
from skyglint.report.numbers import clock, span
from skyglint.store.records import CoverageSpan

#: Space above the strip for the marks, and the part of it where they stand, in pixels.
HEADROOM_PX = 16.0
MARK_Y_PX = 8.0
#: Lines closer than this have no room for a label each.
LABEL_PX = 13.0
#: A loss shorter than this share of the night is still drawn this wide, or nobody would see it.
LEAST_LOSS_SHARE = 0.003
#: An overdense echo longer than this share is drawn as long as it was; a shorter one as the mark of the key.
LEAST_BAR_SHARE = 0.008


@dataclass(frozen=True, slots=True)
class LaneMark:
    """An echo above a lane: its span, mark, words for the hover text, where a click leads, and whether it counts."""

    start_unix: float
    end_unix: float
    mark: Mark
    words: str
    target: str
    counts: bool


def strip(
    label: str,
    scale: TimeScale,
    power_db: NDArray[np.floating],
    top_db: float,
    lost: Sequence[CoverageSpan],
    marks: Sequence[LaneMark],
    height_px: float,
) -> Markup:
    """Return the strip with lines at 10 and 20 dB, hatched paper over the losses, and the marks above.

    Parameters
    ----------
    label
        Alternative text.
    power_db
        Power over the floor in columns of equal time over the whole scale, shape (n,), dB; NaN where not watched.
    top_db
        What the upper edge stands for; the same in every lane.
    height_px
        Height of the strip without the headroom.
    """
    bottom = HEADROOM_PX + height_px
    paper = element(
        "svg",
        *_grid(scale, top_db, height_px),
        _trace(power_db, top_db, height_px),
        *hatching(scale, lost, height_px),
        *_levels(top_db, height_px),
        y=HEADROOM_PX,
        height=height_px,
        role="img",
        aria_label=label,
    )
    return element("svg", paper, *(_mark(scale, entry) for entry in marks), class_="strip", height=bottom)


def _grid(scale: TimeScale, top_db: float, height_px: float) -> list[Markup]:
    upright = [
        element("line", x1=percent(scale.share(tick)), x2=percent(scale.share(tick)), y1=0, y2=height_px, class_="rule")
        for tick in scale.ticks()
    ]
    level = [
        element("line", x1=0, x2="100%", y1=_y(db, top_db, height_px), y2=_y(db, top_db, height_px), class_="rule")
        for db in (10.0, 20.0)
    ]
    return upright + level


def _levels(top_db: float, height_px: float) -> list[Markup]:
    room = _y(10.0, top_db, height_px) - _y(20.0, top_db, height_px) >= LABEL_PX
    return [
        element("text", text, x=2.0, y=_y(db, top_db, height_px) + (4.0 if room else -2.0), class_="level")
        for db, text in ((10.0, "10"), (20.0, "20\u202fdB"))
        if room or db == 20.0
    ]


def _y(level_db: float, top_db: float, height_px: float) -> float:
    return height_px * (1.0 - level_db / top_db)


def _trace(power_db: NDArray[np.floating], top_db: float, height_px: float) -> Markup:
    n = len(power_db)
    heights = height_px * (1.0 - np.clip(power_db, 0.0, top_db) / top_db)
    shape = area(((index + 0.5, y) for index, y in enumerate(heights.tolist())), height_px)
    path = element("path", d=shape, class_="ink")
    return element("svg", path, viewBox=f"0 0 {max(n, 1)} {height_px:g}", preserveAspectRatio="none")


def hatching(scale: TimeScale, lost: Sequence[CoverageSpan], height_px: float) -> list[Markup]:
    """Return hatched paper over the spans that were not watched, each with its reason as hover text."""
    return [_hatched(scale, span, height_px) for span in lost]


def _hatched(scale: TimeScale, lost: CoverageSpan, height_px: float) -> Markup:
    left, right = scale.share(lost.start_unix), scale.share(lost.end_unix)
    width = max(right - left, LEAST_LOSS_SHARE)
    left = min(max(0.0, (left + right - width) / 2.0), 1.0 - width)
    length = span(lost.end_unix - lost.start_unix)
    words = f"{clock(lost.start_unix, 0)} UTC, {length} not watched: {lost.reason}"
    return element(
        "rect",
        element("title", words),
        x=percent(left),
        width=percent(width),
        height=height_px,
        fill="url(#hatch)",
    )


def _mark(scale: TimeScale, entry: LaneMark) -> Markup:
    left, right = scale.share(entry.start_unix), scale.share(entry.end_unix)
    if entry.mark == "overdense" and right - left > LEAST_BAR_SHARE:
        shape = element("line", x1=percent(left), x2=percent(right), y1=MARK_Y_PX, y2=MARK_Y_PX, class_="fell-length")
    else:
        shape = element("use", href=f"#mark-{entry.mark}", x=percent(left), y=MARK_Y_PX)
    dim = None if entry.counts else "dim"
    return element("a", element("title", entry.words), shape, href=entry.target, tabindex=-1, class_=dim)
