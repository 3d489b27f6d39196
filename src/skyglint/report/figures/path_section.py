"""One path in cross-section, to scale: bulge, horizon ray, hidden depth, rays to the stretch of layer that counts."""

from __future__ import annotations

import math
from collections.abc import Callable

from markupsafe import Markup

from skyglint.path.constants import EARTH_RADIUS_M
from skyglint.report.figures.svg import element, figure, polyline
from skyglint.report.numbers import quantity

WIDTH_PX, SIDE_PX, TOP_PX, BOTTOM_PX = 320.0, 8.0, 22.0, 30.0
EARTH_RADIUS_KM = EARTH_RADIUS_M / 1000.0
LAYER_KM = 95.0
#: A path shorter than this is drawn at the scale of one this long, so that the layer fits.
SHORTEST_KM = 300.0

Point = tuple[float, float]
_Place = Callable[[float, float], Point]


def path_section(
    label: str,
    distance_km: float,
    site_height_km: float,
    transmitter_height_km: float,
    elevation_low_deg: float,
    elevation_high_deg: float,
) -> Markup:
    """Return the section; elevations bound the rays from the site to where most echoes are, NaN draws none.

    Both axes have one scale and rays are straight; the Earth is a sphere of 6371 km.
    """
    span = max(distance_km, SHORTEST_KM)
    scale = (WIDTH_PX - 2 * SIDE_PX) / span
    half = distance_km / 2 / EARTH_RADIUS_KM
    sag = EARTH_RADIUS_KM * (1 - math.cos(half))
    base = TOP_PX + (LAYER_KM + sag + 12.0) * scale
    height = base + BOTTOM_PX

    def at(along_km: float, height_km: float) -> tuple[float, float]:
        angle = along_km / EARTH_RADIUS_KM - half
        radius = EARTH_RADIUS_KM + height_km
        y = radius * math.cos(angle) - (EARTH_RADIUS_KM - sag)
        return WIDTH_PX / 2 + radius * math.sin(angle) * scale, base - y * scale

    start, stop = (distance_km - span) / 2, (distance_km + span) / 2
    along = [start + (stop - start) * k / 60 for k in range(61)]
    ground = [at(km, 0.0) for km in along]
    foot = max(y for _, y in ground) + 8.0
    site, top = at(0.0, site_height_km), at(distance_km, transmitter_height_km)
    parts = [
        element("path", d=polyline([*ground, (ground[-1][0], foot), (ground[0][0], foot)]) + "Z", class_="ground"),
        element("path", d=polyline([at(0.0, 0.0), at(distance_km, 0.0)]), class_="chord"),
        element("path", d=polyline(at(km, LAYER_KM) for km in along), class_="layer"),
        *_rays(at, distance_km, site, top, (elevation_low_deg, elevation_high_deg)),
        *_hidden(at, distance_km, site_height_km, transmitter_height_km, site),
        element("circle", cx=site[0], cy=site[1], r=3.0, class_="end-point"),
        element("circle", cx=top[0], cy=top[1], r=3.0, class_="end-point"),
        element("text", "site", x=site[0], y=height - 6.0, class_="middle" if site[0] > 20 else ""),
        element("text", "transmitter", x=min(top[0] + 4, WIDTH_PX - SIDE_PX), y=height - 6.0, class_="end"),
        element("text", f"layer, {quantity(LAYER_KM, 'km')} up", x=WIDTH_PX / 2, y=at(distance_km / 2, LAYER_KM)[1] - 6,
                class_="middle"),
    ]  # fmt: skip
    return figure(label, WIDTH_PX, height, *parts)


def _along_at(elevation_deg: float) -> float:
    """Return the distance along the ground to where a straight ray at an elevation meets the layer."""
    e = math.radians(elevation_deg)
    return EARTH_RADIUS_KM * (math.acos(EARTH_RADIUS_KM * math.cos(e) / (EARTH_RADIUS_KM + LAYER_KM)) - e)


def _rays(at: _Place, distance_km: float, site: Point, top: Point, elevations: tuple[float, float]) -> list[Markup]:
    """Return the stretch of the layer between two elevations, and the rays to its ends."""
    if any(math.isnan(e) for e in elevations):
        return []
    near, far = (min(_along_at(e), distance_km) for e in reversed(elevations))
    stretch = [at(near + (far - near) * k / 20, LAYER_KM) for k in range(21)]
    parts = [element("path", d=polyline(stretch), class_="stretch")]
    for point in (stretch[0], stretch[-1]):
        parts.append(element("path", d=polyline([site, point, top]), class_="ray"))
    return parts


def _hidden(
    at: _Place, distance_km: float, site_height_km: float, transmitter_height_km: float, site: Point
) -> list[Markup]:
    """Return the horizon ray from the site and, above a hidden transmitter, the depth below it."""
    horizon_km = math.sqrt(2 * EARTH_RADIUS_KM * max(site_height_km, 0.0))
    if horizon_km >= distance_km:
        return [element("path", d=polyline([site, at(distance_km, transmitter_height_km)]), class_="sight")]
    shadow = EARTH_RADIUS_KM * (1 / math.cos((distance_km - horizon_km) / EARTH_RADIUS_KM) - 1)
    top = at(distance_km, transmitter_height_km)
    edge = at(distance_km, shadow)
    parts = [element("path", d=polyline([site, edge]), class_="sight")]
    if shadow > transmitter_height_km:
        parts.append(element("path", d=polyline([top, edge]), class_="depth"))
        if top[1] - edge[1] > 14.0:
            middle = (top[1] + edge[1]) / 2 + 4.0
            parts.append(element("text", "hidden", x=top[0] - 6.0, y=middle, class_="end halo"))
    return parts
