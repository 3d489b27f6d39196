"""Small charts along one axis: the stretches of a row of targets, and what each antenna height collects."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from skyglint.report.figures.svg import element, figure, polyline
from skyglint.report.numbers import quantity

WIDTH_PX, ROW_PX, SIDE_PX = 340.0, 26.0, 8.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """A member of a row: its name and where along the ground the stretch of the layer lies that it lights."""

    name: str
    near_km: float
    far_km: float


def row_ruler(label: str, stretches: Sequence[Stretch]) -> Markup:
    """Return the stretches one under the other over a common scale of distance from the site."""
    far = max([100.0, *(stretch.far_km for stretch in stretches)])
    near = min([0.0, *(stretch.near_km for stretch in stretches)])
    scale = (WIDTH_PX - 2 * SIDE_PX) / (far - near)
    base = ROW_PX * len(stretches) + 6.0

    def x(kilometres: float) -> float:
        return SIDE_PX + (kilometres - near) * scale

    parts = []
    for tick in range(0, int(far) + 1, 200):
        parts.append(element("line", x1=x(tick), x2=x(tick), y1=0, y2=base, class_="rule"))
        place = "" if x(tick) < 20 else "end" if x(tick) > WIDTH_PX - 20 else "middle"
        parts.append(element("text", quantity(tick, "km"), x=x(tick), y=base + 13, class_=place))
    for k, stretch in enumerate(stretches):
        y = ROW_PX * k + 15.0
        parts.append(element("line", x1=x(stretch.near_km), x2=x(stretch.far_km), y1=y + 4, y2=y + 4, class_="span"))
        anchor = x(stretch.near_km)
        late = anchor > WIDTH_PX * 0.6
        parts.append(
            element("text", stretch.name, x=x(stretch.far_km) if late else anchor, y=y - 2,
                    class_="halo end" if late else "halo")
        )  # fmt: skip
    return figure(label, WIDTH_PX, base + 18, *parts)


def height_curve(label: str, heights_m: Sequence[float], shares: Sequence[float], present_m: float) -> Markup:
    """Return the part of the best count against the antenna's height above ground, with the present height marked."""
    tall, left, top = 110.0, 34.0, 8.0
    highest = heights_m[-1]

    def at(height: float, share: float) -> tuple[float, float]:
        return left + (WIDTH_PX - left - SIDE_PX) * height / highest, top + tall * (1 - share)

    parts = []
    for level in (0.0, 0.5, 1.0):
        y = at(0, level)[1]
        parts.append(element("line", x1=left, x2=WIDTH_PX - SIDE_PX, y1=y, y2=y, class_="rule"))
        parts.append(element("text", f"{level:.0%}", x=left - 5, y=y + 4, class_="end"))
    for tick in range(0, int(highest) + 1, 2):
        place = "end" if tick >= highest else "middle"
        parts.append(element("text", quantity(tick, "m"), x=at(tick, 0)[0], y=top + tall + 15, class_=place))
    parts.append(
        element("path", d=polyline(at(h, s) for h, s in zip(heights_m, shares, strict=True)), class_="ink-line")
    )
    if present_m <= highest:
        x = at(present_m, 0)[0]
        parts.append(element("line", x1=x, x2=x, y1=top, y2=top + tall, class_="lobe"))
        parts.append(element("text", "now", x=x + 4, y=top + tall - 4, class_="halo"))
    return figure(label, WIDTH_PX, top + tall + 20, *parts)
