"""How probable each effective radius is, with its intervals and where known refraction puts the Earth."""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup

from skyglint.report.figures.svg import area, element, figure, polyline
from skyglint.report.numbers import THIN, fixed

WIDTH_PX, SIDE_PX = 360.0, 14.0
_TOP_PX, _BASE_PX, _AXIS_PX = 16.0, 150.0, 190.0
HEIGHT_PX = 250.0
_TICKS_KM = (3000, 4000, 6000, 8000, 12_000, 16_000)


def curvature_figure(
    label: str,
    radius_km: Sequence[float],
    density: Sequence[float],
    intervals_km: tuple[tuple[float, float], tuple[float, float]],
    reference_km: tuple[float, float],
) -> Markup:
    """Return the curve of probability over a logarithmic axis.

    Parameters
    ----------
    density
        Greatest value 1.
    intervals_km
        The 68 and the 95 % interval.
    reference_km
        Where the reference radius lies for the lowest and the highest refraction factor.
    """
    low, high = math.log(radius_km[0]), math.log(radius_km[-1])

    def x(kilometres: float) -> float:
        share = (math.log(kilometres) - low) / (high - low)
        return SIDE_PX + (WIDTH_PX - 2 * SIDE_PX) * min(max(share, 0.0), 1.0)

    curve = [
        (x(radius), _BASE_PX - (_BASE_PX - _TOP_PX) * value) for radius, value in zip(radius_km, density, strict=True)
    ]
    parts = [
        element("path", d=area(curve, _BASE_PX), class_="ink-area"),
        element("path", d=polyline(curve), class_="ink-line"),
        element("line", x1=SIDE_PX, y1=_BASE_PX, x2=WIDTH_PX - SIDE_PX, y2=_BASE_PX, class_="axis"),
    ]
    for (start, stop), y, name, width in zip(intervals_km, (160.0, 174.0), ("68", "95"), (5.0, 2.5), strict=True):
        parts.append(element("line", x1=x(start), y1=y, x2=x(stop), y2=y, class_="span", stroke_width=width))
        far = x(stop) + 6 < WIDTH_PX - 46
        parts.append(
            element(
                "text", f"{name}{THIN}%", x=x(stop) + 6 if far else x(start) - 6, y=y + 4, class_=None if far else "end"
            )
        )
    parts.append(element("line", x1=SIDE_PX, y1=_AXIS_PX, x2=WIDTH_PX - SIDE_PX, y2=_AXIS_PX, class_="axis"))
    for tick in _TICKS_KM:
        if radius_km[0] <= tick * 1.001 and tick <= radius_km[-1] * 1.001:
            parts.append(element("line", x1=x(tick), y1=_AXIS_PX, x2=x(tick), y2=_AXIS_PX + 4, class_="tick"))
            text = f"{tick:,}".replace(",", THIN)
            parts.append(element("text", text, x=x(tick), y=_AXIS_PX + 17, class_="middle"))
    first, last = (x(edge) for edge in reference_km)
    parts.append(element("line", x1=first, y1=222.0, x2=last, y2=222.0, class_="known"))
    words = f"WGS{THIN}84 times {fixed(1.2, 1)} to {fixed(1.6, 1)}"
    parts.append(element("text", words, x=(first + last) / 2, y=240.0, class_="middle"))
    return figure(label, WIDTH_PX, HEIGHT_PX, *parts)
