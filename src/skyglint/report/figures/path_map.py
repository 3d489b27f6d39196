"""A map around the site on which distances and bearings from it are true, so that every path is a straight line."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from markupsafe import Markup

from skyglint.path.constants import FloatArray
from skyglint.path.geodesy import geodesic
from skyglint.report.figures.svg import element, figure, polyline, short
from skyglint.report.numbers import quantity

SIZE_PX, EDGE_PX = 460.0, 6.0
Kind = Literal["target", "control", "reference", "candidate", "neighbour"]

#: Labels keep this far apart, or the later one is left out.
_LABEL_PX = 13.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A transmitter on the map; ``label`` may be empty, ``title`` is shown on hovering."""

    kind: Kind
    distance_km: float
    bearing_deg: float
    label: str
    title: str


@dataclass(frozen=True, slots=True)
class Shade:
    """A cell of the layer between two distances and two bearings, with its part (0 to 1) of the darkest."""

    near_km: float
    far_km: float
    from_deg: float
    to_deg: float
    share: float


def path_map(
    label: str,
    latitude_deg: float,
    longitude_deg: float,
    reach_km: float,
    marks: Sequence[Mark],
    shades: Sequence[Shade],
) -> Markup:
    """Return the map: graticule, rings of distance, shaded layer, paths and marks."""
    scale = (SIZE_PX / 2 - EDGE_PX) / reach_km
    drawn = [mark for mark in marks if mark.distance_km <= reach_km]
    order: dict[Kind, int] = {"neighbour": 0, "candidate": 1, "reference": 2, "control": 3, "target": 4}
    drawn.sort(key=lambda mark: order[mark.kind])
    parts = [
        element("circle", cx=SIZE_PX / 2, cy=SIZE_PX / 2, r=SIZE_PX / 2 - EDGE_PX, class_="disc"),
        *(_shade(shade, scale) for shade in shades),
        *_graticule(latitude_deg, longitude_deg, reach_km, scale),
        *_rings(reach_km, scale),
        *(_path(mark, scale) for mark in drawn if mark.kind in {"target", "control"}),
        *(_symbol(mark, scale) for mark in drawn),
        element("circle", cx=SIZE_PX / 2, cy=SIZE_PX / 2, r=3.5, class_="site"),
        *_labels(drawn, scale),
    ]
    return figure(label, SIZE_PX, SIZE_PX, *parts, class_="figure map")


def _at(distance_km: float, bearing_deg: float, scale: float) -> tuple[float, float]:
    turned = math.radians(bearing_deg)
    return SIZE_PX / 2 + distance_km * scale * math.sin(turned), SIZE_PX / 2 - distance_km * scale * math.cos(turned)


def _graticule(latitude_deg: float, longitude_deg: float, reach_km: float, scale: float) -> list[Markup]:
    """Return meridians and parallels every 5 or 10 degrees, cut at the edge of the disc."""
    step = 5.0 if reach_km < 2000 else 10.0
    span = reach_km / 111.0
    parallels = np.arange(math.ceil((latitude_deg - span) / step) * step, latitude_deg + span, step)
    parallels = parallels[np.abs(parallels) < 90]
    wide = min(180.0, span / max(math.cos(math.radians(min(abs(latitude_deg) + span / 2, 85.0))), 0.1))
    meridians = np.arange(math.ceil((longitude_deg - wide) / step) * step, longitude_deg + wide, step)
    fine_lon = np.linspace(longitude_deg - wide, longitude_deg + wide, 61)
    fine_lat = np.clip(np.linspace(latitude_deg - span, latitude_deg + span, 41), -89.9, 89.9)
    lines = [(np.full(fine_lon.size, p), fine_lon) for p in parallels] + [
        (fine_lat, np.full(fine_lat.size, m)) for m in meridians
    ]
    drawn = []
    for latitude, longitude in lines:
        line = geodesic(latitude_deg, longitude_deg, latitude, (longitude + 180) % 360 - 180)
        data = polyline(_clipped(line.distance_m / 1e3, line.azimuth_deg, reach_km, scale))
        if data:
            drawn.append(element("path", d=data, class_="graticule"))
    return drawn


def _clipped(
    distance_km: FloatArray, bearing_deg: FloatArray, reach_km: float, scale: float
) -> Iterable[tuple[float, float]]:
    for distance, bearing in zip(distance_km, bearing_deg, strict=True):
        yield _at(float(distance), float(bearing), scale) if distance <= reach_km else (math.nan, math.nan)


def _rings(reach_km: float, scale: float) -> list[Markup]:
    parts = []
    for ring in range(500, int(reach_km) + 1, 500):
        x, y = _at(ring, 180.0, scale)
        parts.append(element("circle", cx=SIZE_PX / 2, cy=SIZE_PX / 2, r=ring * scale, class_="ring"))
        parts.append(element("text", quantity(ring, "km"), x=x, y=y - 3.0, class_="middle halo quiet"))
    for text, bearing in (("N", 0.0), ("E", 90.0), ("S", 180.0), ("W", 270.0)):
        x, y = _at(reach_km - 12.0 / scale, bearing, scale)
        parts.append(element("text", text, x=x, y=y + 4.0, class_="middle halo"))
    return parts


def _shade(shade: Shade, scale: float) -> Markup:
    corners = [
        _at(d, b, scale)
        for d, b in (
            (shade.near_km, shade.from_deg),
            (shade.far_km, shade.from_deg),
            (shade.far_km, shade.to_deg),
            (shade.near_km, shade.to_deg),
        )
    ]
    return element("path", d=polyline(corners) + "Z", class_="shade", fill_opacity=short(0.08 + 0.72 * shade.share))


def _path(mark: Mark, scale: float) -> Markup:
    x, y = _at(mark.distance_km, mark.bearing_deg, scale)
    return element("path", d=polyline([(SIZE_PX / 2, SIZE_PX / 2), (x, y)]), class_=f"way {mark.kind}")


def _symbol(mark: Mark, scale: float) -> Markup:
    x, y = _at(mark.distance_km, mark.bearing_deg, scale)
    title = element("title", mark.title)
    if mark.kind == "neighbour":
        return element("path", title, d=f"M{x - 3:.1f} {y - 3:.1f}l6 6m0-6l-6 6", class_="neighbour")
    if mark.kind == "reference":
        return element("rect", title, x=x - 3.0, y=y - 3.0, width=6.0, height=6.0, class_="reference")
    radius = 4.5 if mark.kind in {"target", "control"} else 2.6
    return element("circle", title, cx=x, cy=y, r=radius, class_=mark.kind)


def _labels(marks: Sequence[Mark], scale: float) -> list[Markup]:
    placed: list[tuple[float, float]] = []
    texts = []
    for mark in reversed(marks):
        if not mark.label:
            continue
        x, y = _at(mark.distance_km, mark.bearing_deg, scale)
        right = x < SIZE_PX * 0.62
        anchor = x + 8.0 if right else x - 8.0
        wide = 6.8 * len(mark.label)
        middle = anchor + wide / 2 if right else anchor - wide / 2
        if any(abs(y - other_y) < _LABEL_PX and abs(middle - other_x) < wide for other_x, other_y in placed):
            continue
        placed.append((middle, y))
        texts.append(element("text", mark.label, x=anchor, y=y + 4.0, class_="halo" + ("" if right else " end")))
    return texts
