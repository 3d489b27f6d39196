"""A histogram: how many values fall into each step."""

from __future__ import annotations

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from skyglint.report.figures.hours import nice_step
from skyglint.report.figures.svg import element, figure
from skyglint.report.numbers import fixed

LEFT_PX, RIGHT_PX, TOP_PX, BOTTOM_PX = 38.0, 8.0, 10.0, 36.0


def histogram(
    label: str, values: NDArray[np.float64], step: float, reach: tuple[float, float], name: str, height: float = 170.0
) -> Markup:
    """Return the histogram of values in steps over a reach; what lies outside is not drawn.

    Parameters
    ----------
    label
        Alternative text.
    name
        What the horizontal axis shows, with its unit.
    """
    width = 340.0
    edges = np.arange(reach[0], reach[1] + step / 2.0, step)
    counts = np.histogram(values, edges)[0]
    top = max(float(counts.max(initial=1)) * 1.08, 1.0)
    base = height - BOTTOM_PX
    slot = (width - LEFT_PX - RIGHT_PX) / len(counts)
    level_step = max(nice_step(top, 4), 1.0)
    parts = []
    for level in np.arange(0.0, top + 1e-9, level_step):
        y = base - (base - TOP_PX) * level / top
        parts.append(element("line", x1=LEFT_PX, x2=width - RIGHT_PX, y1=y, y2=y, class_="rule"))
        parts.append(element("text", fixed(float(level)), x=LEFT_PX - 5.0, y=y + 4.0, class_="small end"))
    for k, count in enumerate(counts.tolist()):
        tall = (base - TOP_PX) * count / top
        parts.append(
            element("rect", x=LEFT_PX + k * slot + 0.5, y=base - tall, width=slot - 1.0, height=tall, class_="bar")
        )
    every = max(1, len(counts) // 6)
    for k in range(0, len(edges), every):
        x = LEFT_PX + k * slot
        anchor = "small end" if x > width - 16.0 else "small middle"
        parts.append(element("text", fixed(float(edges[k])), x=x, y=base + 16.0, class_=anchor))
    parts.append(element("line", x1=LEFT_PX, x2=width - RIGHT_PX, y1=base, y2=base, class_="axis"))
    parts.append(element("text", name, x=width - RIGHT_PX, y=height - 3.0, class_="small end"))
    parts.append(element("text", "echoes", x=LEFT_PX + 4.0, y=TOP_PX + 2.0, class_="level"))
    return figure(label, width, height, *parts)
