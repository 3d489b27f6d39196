"""Where an echo may have been: the part of the layer that both ends see, and where a shower's trails would lie."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from numpy.typing import ArrayLike, NDArray

from skyglint.path.geodesy import earth_fixed_m, local_axes
from skyglint.path.specular import Layer, common_layer, usable_curves
from skyglint.report.figures.svg import element, figure, polyline
from skyglint.site import Channel
from skyglint.sky.radiants import radiant_direction_ecef
from skyglint.sky.showers import Shower, active_showers

Plane = NDArray[np.float64]

#: Showers whose rate at their maximum is below this are not drawn: a single echo is rarely theirs.
LEAST_ZHR = 10.0
#: Cells of the layer: fine enough for a small map.
_CELL_M = 40_000.0
WIDTH_PX, HEIGHT_PX, EDGE_PX = 320.0, 260.0, 22.0


@dataclass(frozen=True, slots=True)
class Places:
    """Points on a plane that touches the Earth at the middle of the path: east and north in kilometres, shape (n, 2).

    Attributes
    ----------
    outline
        Around the part of the layer that both ends see, in order.
    site, transmitter
        The ends.
    curve
        Where trails of the shower would have to lie to be seen on this path; empty without one.
    shower
        Name of the strongest active shower whose radiant serves this path; empty for none.
    graticule
        Lines of whole degrees with their labels.
    """

    outline: Plane
    site: Plane
    transmitter: Plane
    curve: Plane
    shower: str
    graticule: tuple[tuple[str, Plane], ...]


def possible_places(
    channel: Channel, latitude_deg: float, longitude_deg: float, height_m: float, unix: float
) -> Places | None:
    """Return where an echo may have been; None where the transmitter's place is unknown, or no trail can be seen.

    Parameters
    ----------
    latitude_deg, longitude_deg
        The site, as exactly as the page may show it.
    """
    if channel.latitude_deg is None or channel.longitude_deg is None:
        return None
    transmitter = (channel.latitude_deg, channel.longitude_deg, channel.height_m or 0.0)
    layer = common_layer(transmitter, (latitude_deg, longitude_deg, height_m), cell_m=_CELL_M)
    edge = _edge(layer)
    if len(edge) < 3:
        return None
    middle = layer.center_deg
    shower, curve = _shower_curve(layer, unix)
    outline = _plane(edge, middle)
    centre = outline.mean(axis=0)
    order = np.argsort(np.arctan2(*(outline - centre).T))
    return Places(
        outline=outline[order],
        site=_plane(layer.receiver_m, middle),
        transmitter=_plane(layer.transmitter_m, middle),
        curve=_plane(curve, middle),
        shower=shower.name if shower else "",
        graticule=tuple(_graticule(middle)),
    )


def _edge(layer: Layer) -> Plane:
    """Return where the margin over the masks passes zero along the triangles' sides."""
    sides = np.concatenate([layer.triangles[:, [0, 1]], layer.triangles[:, [1, 2]], layer.triangles[:, [2, 0]]])
    sides = np.unique(np.sort(sides, axis=1), axis=0)
    first, second = layer.margin_deg[sides].T
    crossed = (first > 0) != (second > 0)
    share = (first[crossed] / (first[crossed] - second[crossed]))[:, None]
    ends = layer.points_m[sides[crossed]]
    return np.asarray(ends[:, 0] + share * (ends[:, 1] - ends[:, 0]))


def _shower_curve(layer: Layer, unix: float) -> tuple[Shower | None, Plane]:
    strong = [shower for shower in active_showers(unix) if shower.zhr_max >= LEAST_ZHR]
    for shower in sorted(strong, key=lambda item: -item.zhr_max):
        radiant = radiant_direction_ecef(shower.radiant_ra_deg, shower.radiant_dec_deg, unix)
        curve = usable_curves(layer, radiant)
        if len(curve.points_m):
            return shower, curve.points_m
    return None, np.empty((0, 3))


def _plane(points_m: ArrayLike, middle_deg: tuple[float, float]) -> Plane:
    east, north, _ = local_axes(*middle_deg)
    points = np.asarray(points_m, dtype=np.float64)
    return np.stack([points @ east, points @ north], axis=-1) / 1000.0


def _graticule(middle_deg: tuple[float, float]) -> list[tuple[str, Plane]]:
    latitude, longitude = middle_deg
    step = 5.0
    wide = step if abs(latitude) < 60.0 else 2 * step if abs(latitude) < 75.0 else 6 * step
    lines = []
    along = np.linspace(-1.0, 1.0, 25)
    for degrees in step * (math.floor(latitude / step) + np.arange(-2, 4)):
        if abs(degrees) < 90.0:
            label = f"{abs(degrees):.0f}° {'N' if degrees >= 0 else 'S'}"
            lines.append((label, _plane(earth_fixed_m(degrees, longitude + 4 * wide * along, 0.0), middle_deg)))
    for degrees in wide * (math.floor(longitude / wide) + np.arange(-3, 5)):
        turned = (degrees + 180.0) % 360.0 - 180.0
        label = f"{abs(turned):.0f}° {'E' if turned >= 0 else 'W'}"
        reach = np.clip(latitude + 15.0 * along, -89.0, 89.0)
        lines.append((label, _plane(earth_fixed_m(reach, degrees, 0.0), middle_deg)))
    return lines


def places_map(label: str, places: Places) -> Markup:
    """Return the map, north up: shaded where a trail can be seen from both ends, dots where the shower's would lie."""
    shown = np.concatenate([places.outline, places.site[None], places.transmitter[None]])
    low, high = shown.min(axis=0), shown.max(axis=0)
    size = np.maximum(high - low, 1.0)
    scale = min((WIDTH_PX - 2 * EDGE_PX) / size[0], (HEIGHT_PX - 2 * EDGE_PX) / size[1])
    centre = (low + high) / 2.0

    def at(points: Plane) -> Plane:
        middle = np.array([WIDTH_PX / 2.0, HEIGHT_PX / 2.0])
        return np.asarray((points - centre) * (scale, -scale) + middle)

    def line(points: Plane) -> str:
        return polyline((float(x), float(y)) for x, y in at(points))

    (sx, sy), (tx, ty) = at(places.site).tolist(), at(places.transmitter).tolist()
    rules, degrees = _graticule_figure([(text, at(course)) for text, course in places.graticule])
    return figure(
        label,
        WIDTH_PX,
        HEIGHT_PX,
        element("path", d=line(places.outline) + "Z", class_="seen"),
        *rules,
        element("path", d=line(np.stack([places.site, places.transmitter])), class_="chord"),
        *(element("circle", cx=x, cy=y, r=1.6, class_="on-curve") for x, y in at(places.curve).tolist()),
        *degrees,
        element("circle", cx=sx, cy=sy, r=4.0, class_="place"),
        element("rect", x=tx - 3.5, y=ty - 3.5, width=7.0, height=7.0, class_="place"),
        *_named("site", sx, sy),
        *_named("transmitter", tx, ty),
        class_="figure map",
    )


def _graticule_figure(lines: list[tuple[str, Plane]]) -> tuple[list[Markup], list[Markup]]:
    """Return the lines, and a label where each enters the map unless another one stands there."""
    rules, labels, taken = [], [], [(0.0, HEIGHT_PX)]
    for text, course in lines:
        inside = np.all((course >= 0.0) & (course <= (WIDTH_PX, HEIGHT_PX)), axis=1)
        if not inside.any():
            continue
        near = inside | np.roll(inside, 1) | np.roll(inside, -1)
        drawn = np.where(near[:, None], course, np.nan)
        rules.append(element("path", d=polyline((float(x), float(y)) for x, y in drawn), class_="rule"))
        x, y = course[int(np.flatnonzero(inside)[0])].tolist()
        x, y = min(max(x + 3.0, 3.0), WIDTH_PX - 42.0), min(max(y - 3.0, 12.0), HEIGHT_PX - 5.0)
        if all(abs(x - other_x) > 44.0 or abs(y - other_y) > 14.0 for other_x, other_y in taken):
            taken.append((x, y))
            labels.append(element("text", text, x=x, y=y, class_="level"))
    return rules, labels


def _named(text: str, x: float, y: float) -> list[Markup]:
    end = x > WIDTH_PX / 2.0
    return [
        element("text", text, x=x + (-8.0 if end else 8.0), y=y + 4.0, class_="named end" if end else "named"),
    ]
