"""The sky as the antenna sees it: where the echoes come from, the beam, the lobes that the ground makes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from skyglint.report.figures.svg import element, figure, polyline, short

WIDTH_PX, LEFT_PX, TOP_PX, BOTTOM_PX = 460.0, 36.0, 8.0, 26.0
_PX_PER_DEG = (WIDTH_PX - LEFT_PX - 6.0) / 180.0
_TALL_PX = 90.0 * _PX_PER_DEG


@dataclass(frozen=True, slots=True)
class SkyCell:
    """A part of the sky and its part (0 to 1) of the densest echoes."""

    from_azimuth_deg: float
    to_azimuth_deg: float
    low_deg: float
    high_deg: float
    share: float


def sky_chart(
    label: str,
    cells: Sequence[SkyCell],
    aim_deg: tuple[float, float],
    beamwidth_deg: float,
    lobes_deg: Sequence[float],
    nulls_deg: Sequence[float],
) -> Markup:
    """Return half of the sky around the aim, azimuth to the right and elevation up, degrees to one scale."""
    azimuth, elevation = aim_deg
    parts = [element("rect", x=LEFT_PX, y=TOP_PX, width=180 * _PX_PER_DEG, height=_TALL_PX, class_="sky")]
    parts += [part for cell in cells for part in _cell(cell, azimuth)]
    for level in (0, 30, 60, 90):
        y = _y(level)
        parts.append(element("line", x1=LEFT_PX, x2=LEFT_PX + 180 * _PX_PER_DEG, y1=y, y2=y, class_="rule"))
        parts.append(element("text", f"{level}°", x=LEFT_PX - 5, y=y + 4, class_="end"))
    for offset in (-90, -60, -30, 0, 30, 60, 90):
        place = "end" if offset == 90 else "middle"
        parts.append(
            element("text", f"{(azimuth + offset) % 360:.0f}°", x=_x(offset), y=TOP_PX + _TALL_PX + 17, class_=place)
        )
    for angles, kind in ((lobes_deg, "lobe"), (nulls_deg, "null")):
        for angle in angles:
            y = _y(angle)
            ends = polyline([(LEFT_PX, y), (LEFT_PX + 180 * _PX_PER_DEG, y)])
            parts.append(element("path", element("title", f"{kind} at {angle:.0f} degrees"), d=ends, class_=kind))
            parts.append(element("text", kind, x=LEFT_PX + 180 * _PX_PER_DEG - 4, y=y - 3, class_="end halo"))
    parts.append(element("path", d=polyline(_beam(elevation, beamwidth_deg / 2)), class_="beam"))
    x, y = _x(0), _y(elevation)
    parts.append(element("path", d=f"M{x - 6:.1f} {y:.1f}h12m-6-6v12", class_="aim"))
    return figure(label, WIDTH_PX, TOP_PX + _TALL_PX + BOTTOM_PX, *parts, class_="figure wide")


def _x(offset_deg: float) -> float:
    return LEFT_PX + (offset_deg + 90.0) * _PX_PER_DEG


def _y(elevation_deg: float) -> float:
    return TOP_PX + _TALL_PX - elevation_deg * _PX_PER_DEG


def _cell(cell: SkyCell, center_deg: float) -> list[Markup]:
    left = (cell.from_azimuth_deg - center_deg + 180) % 360 - 180
    right = left + (cell.to_azimuth_deg - cell.from_azimuth_deg)
    left, right = max(left, -90.0), min(right, 90.0)
    if right <= left:
        return []
    return [
        element("rect", x=_x(left), y=_y(cell.high_deg), width=(right - left) * _PX_PER_DEG + 0.3,
                height=(cell.high_deg - cell.low_deg) * _PX_PER_DEG + 0.3, class_="tone",
                fill_opacity=short(0.04 + 0.86 * cell.share))
    ]  # fmt: skip


def _beam(elevation_deg: float, radius_deg: float) -> list[tuple[float, float]]:
    """Return the circle of half power around the aim, broken where it leaves the chart."""
    e, r = math.radians(elevation_deg), math.radians(min(radius_deg, 89.0))
    points = []
    for k in range(121):
        turn = math.tau * k / 120
        sine = math.sin(e) * math.cos(r) + math.cos(e) * math.sin(r) * math.cos(turn)
        east = math.sin(r) * math.sin(turn)
        north = math.cos(e) * math.cos(r) - math.sin(e) * math.sin(r) * math.cos(turn)
        azimuth, elevation = math.degrees(math.atan2(east, north)), math.degrees(math.asin(sine))
        inside = elevation >= 0 and abs(azimuth) <= 90
        points.append((_x(azimuth), _y(elevation)) if inside else (math.nan, math.nan))
    return points
