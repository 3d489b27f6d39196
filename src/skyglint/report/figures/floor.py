"""The history of one channel's floor, about its own median."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from skyglint.report.figures.lane import hatching
from skyglint.report.figures.svg import element, polyline
from skyglint.report.figures.timescale import TimeScale
from skyglint.report.numbers import quantity
from skyglint.store.records import CoverageSpan

HEIGHT_PX = 34.0


def floor_strip(
    label: str,
    scale: TimeScale,
    times_unix: NDArray[np.floating],
    deviation_db: NDArray[np.floating],
    reach_db: float,
    lost: Sequence[CoverageSpan],
) -> Markup:
    """Return the floor's deviation from its median against time, from ``-reach_db`` to ``+reach_db``.

    Parameters
    ----------
    times_unix, deviation_db
        Readings in order of time, shape (n,); NaN breaks the line.
    """
    middle = HEIGHT_PX / 2.0
    y = middle - np.clip(deviation_db / reach_db, -1.0, 1.0) * (middle - 2.0)
    points = ((1000.0 * scale.share(float(t)), float(v)) for t, v in zip(times_unix, y, strict=True))
    line = element("path", d=polyline(points), class_="floor-line")
    return element(
        "svg",
        element("line", x1=0, x2="100%", y1=middle, y2=middle, class_="rule"),
        element("svg", line, viewBox=f"0 0 1000 {HEIGHT_PX:g}", preserveAspectRatio="none"),
        *hatching(scale, lost, HEIGHT_PX),
        element("text", f"+{quantity(reach_db, 'dB', 1)}", x=2.0, y=10.0, class_="level"),
        element("text", f"−{quantity(reach_db, 'dB', 1)}", x=2.0, y=HEIGHT_PX - 2.0, class_="level"),
        class_="strip",
        height=HEIGHT_PX,
        role="img",
        aria_label=label,
    )
