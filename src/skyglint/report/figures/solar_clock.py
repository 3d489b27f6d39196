"""The solar clock: the night's rate on a ring of 24 hours of local solar time, because the meteors keep that clock."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from skyglint.report.figures.hours import nice_step
from skyglint.report.figures.svg import element, figure, polyline, short
from skyglint.report.numbers import fixed

SIZE_PX = 320.0
CENTRE_PX = SIZE_PX / 2.0
INNER_PX, OUTER_PX, ARC_PX = 46.0, 118.0, 132.0


@dataclass(frozen=True, slots=True)
class SolarHour:
    """One hour of local apparent solar time: how long it was live, the rate and its limits per hour.

    ``rate_per_h`` is NaN for an hour that was not watched.
    """

    hour: int
    live_s: float
    rate_per_h: float
    low_per_h: float
    high_per_h: float


def point(hour: float, radius: float) -> tuple[float, float]:
    """Return where an hour lies: noon up, midnight down, morning left."""
    angle = 2.0 * math.pi * hour / 24.0
    return CENTRE_PX - radius * math.sin(angle), CENTRE_PX + radius * math.cos(angle)


def solar_clock(
    label: str,
    hours: Sequence[SolarHour],
    middle: str,
    unit: str,
    now_hour: float = math.nan,
    expected: Sequence[float] = (),
) -> Markup:
    """Return the ring: filled sectors for what was counted, whiskers, and an ember arc on the leading side.

    Parameters
    ----------
    hours
        Hours that were watched or not; those that are missing count as not watched.
    middle, unit
        The number in the middle and the words under it.
    now_hour
        Where the hand stands; NaN for a clock without one.
    expected
        Rates at the middles of the 24 hours, drawn as an outline; empty for none.
    """
    seen = [entry for entry in hours if not math.isnan(entry.rate_per_h)]
    top = max([1.15 * max((entry.rate_per_h for entry in seen), default=0.0), *_fitting_limits(seen), *expected, 1.0])
    step = nice_step(top, 3)
    rings = [index * step for index in range(1, int(top / step) + 1)]
    return figure(
        label,
        SIZE_PX,
        SIZE_PX,
        *(element("circle", cx=CENTRE_PX, cy=CENTRE_PX, r=_radius(ring, top), class_="rule ring") for ring in rings),
        *(_tick(hour) for hour in range(24)),
        element("circle", cx=CENTRE_PX, cy=CENTRE_PX, r=INNER_PX, class_="hub"),
        *(part for entry in seen for part in _sector(entry, top)),
        *_outline(expected, top),
        *_leading_arc(),
        *_hand(now_hour),
        *(_ring_label(ring, top) for ring in rings),
        *_directions(),
        element("text", middle, x=CENTRE_PX, y=CENTRE_PX + 4.0, class_="large middle"),
        element("text", unit, x=CENTRE_PX, y=CENTRE_PX + 21.0, class_="small middle"),
        class_="figure clock",
    )


def _fitting_limits(seen: Sequence[SolarHour]) -> list[float]:
    return [entry.high_per_h for entry in seen if entry.live_s >= 1800.0 and math.isfinite(entry.high_per_h)]


def _radius(rate: float, top: float) -> float:
    return INNER_PX + (OUTER_PX - INNER_PX) * min(rate / top, 1.0)


def _sector(entry: SolarHour, top: float) -> list[Markup]:
    outer = max(_radius(entry.rate_per_h, top), INNER_PX + 1.0)
    pad = 0.05
    first, last = entry.hour + pad, entry.hour + 1.0 - pad
    (x1, y1), (x2, y2) = point(first, INNER_PX), point(first, outer)
    (x3, y3), (x4, y4) = point(last, outer), point(last, INNER_PX)
    data = (
        f"M{short(x1)} {short(y1)}L{short(x2)} {short(y2)}A{short(outer)} {short(outer)} 0 0 1 {short(x3)} {short(y3)}"
        f"L{short(x4)} {short(y4)}A{short(INNER_PX)} {short(INNER_PX)} 0 0 0 {short(x1)} {short(y1)}Z"
    )
    parts = [element("path", d=data, class_="bar")]
    if math.isfinite(entry.high_per_h):
        (a, b), (c, d) = (point(entry.hour + 0.5, _radius(rate, top)) for rate in (entry.low_per_h, entry.high_per_h))
        for name in ("whisker-paper", "whisker"):
            parts.append(element("line", x1=a, y1=b, x2=c, y2=d, class_=name))
    return parts


def _outline(expected: Sequence[float], top: float) -> list[Markup]:
    if not expected:
        return []
    around = [point(hour + 0.5, _radius(rate, top)) for hour, rate in enumerate(expected)]
    return [element("path", d=polyline([*around, around[0]]), class_="expected")]


def _tick(hour: int) -> Markup:
    (x1, y1), (x2, y2) = point(hour, OUTER_PX), point(hour, OUTER_PX + 3.0)
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, class_="tick")


def _leading_arc() -> list[Markup]:
    """Draw the arc from midnight to noon by way of the morning, open where its label stands."""
    parts = []
    for first, last in ((0.35, 5.45), (6.55, 11.65)):
        (x1, y1), (x2, y2) = point(first, ARC_PX), point(last, ARC_PX)
        data = f"M{short(x1)} {short(y1)}A{short(ARC_PX)} {short(ARC_PX)} 0 0 1 {short(x2)} {short(y2)}"
        parts.append(element("path", d=data, class_="lead"))
    return parts


def _hand(hour: float) -> list[Markup]:
    if math.isnan(hour):
        return []
    (x1, y1), (x2, y2) = point(hour, INNER_PX + 2.0), point(hour, OUTER_PX + 6.0)
    return [element("line", x1=x1, y1=y1, x2=x2, y2=y2, class_="hand")]


def _directions() -> list[Markup]:
    c, far = CENTRE_PX, ARC_PX + 4.0
    return [
        element("text", "noon", x=c, y=c - far - 4.0, class_="small middle"),
        element("text", "midnight", x=c, y=c + far + 12.0, class_="small middle"),
        element("text", "6\u202fh", x=c - far - 3.0, y=c + 4.0, class_="small middle"),
        element("text", "18\u202fh", x=c + far + 3.0, y=c + 4.0, class_="small middle"),
    ]


def _ring_label(ring: float, top: float) -> Markup:
    """Label a ring on the evening side, where the bars are short."""
    x, y = point(19.5, _radius(ring, top))
    return element("text", fixed(ring), x=x, y=y + 4.0, class_="level middle")
