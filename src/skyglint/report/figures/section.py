"""The path in cross-section, to scale: ground with its bulge, the straight line under it, the layer, the rays."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup

from skyglint.path.constants import EARTH_RADIUS_M
from skyglint.path.geometry import midpoint_geometry
from skyglint.report.figures.svg import element, figure, polyline
from skyglint.report.numbers import quantity

EARTH_RADIUS_KM = EARTH_RADIUS_M / 1000.0
#: The layer where the trails that matter form.
LAYER_KM = 95.0

WIDTH_PX, SIDE_PX, TOP_PX, BOTTOM_PX = 280.0, 6.0, 20.0, 26.0


@dataclass(frozen=True, slots=True)
class Section:
    """The figures of a path on a round Earth, with straight rays (the air's bending changes them by under 1 degree).

    Attributes
    ----------
    distance_km
        Along the ground.
    sagitta_km
        How far the straight line between the ends runs under the ground at the middle.
    chord_km
        Length of the straight line.
    elevation_deg
        Of a trail on the layer above the middle, seen from either end; negative when hidden.
    """

    distance_km: float
    sagitta_km: float
    chord_km: float
    elevation_deg: float


def section_of(distance_km: float) -> Section:
    """Return the geometry of a path between two points on the ground."""
    half = distance_km / (2.0 * EARTH_RADIUS_KM)
    sagitta_km = EARTH_RADIUS_KM * (1.0 - math.cos(half))
    chord_km = 2.0 * EARTH_RADIUS_KM * math.sin(half)
    _, elevation_deg, _ = midpoint_geometry(1000.0 * distance_km, 1000.0 * LAYER_KM)
    return Section(distance_km, sagitta_km, chord_km, float(elevation_deg))


def cross_section(label: str, path: Section, km_per_px: float) -> Markup:
    """Return the section with the straight line between the ends level; both axes have the same scale."""
    height = TOP_PX + (LAYER_KM + path.sagitta_km) / km_per_px + BOTTOM_PX
    base = height - BOTTOM_PX
    middle = WIDTH_PX / 2.0

    def at(along_km: float, height_km: float) -> tuple[float, float]:
        angle = along_km / EARTH_RADIUS_KM
        radius = EARTH_RADIUS_KM + height_km
        x_km = radius * math.sin(angle)
        y_km = radius * math.cos(angle) - (EARTH_RADIUS_KM - path.sagitta_km)
        return middle + x_km / km_per_px, base - y_km / km_per_px

    half_km = path.distance_km / 2.0
    along = [half_km * (step / 24.0 - 1.0) for step in range(49)]
    ground = [at(km, 0.0) for km in along]
    left, right = ground[0], ground[-1]
    trail = at(0.0, LAYER_KM)
    earth = polyline([*ground, (right[0], base + 10.0), (left[0], base + 10.0)]) + "Z"
    return figure(
        label,
        WIDTH_PX,
        height,
        element("path", d=earth, class_="ground"),
        element("path", d=polyline([left, right]), class_="chord"),
        element("path", d=polyline(at(km, LAYER_KM) for km in along), class_="layer"),
        element("path", d=polyline([left, trail, right]), class_="ray"),
        element("path", d=f"M{trail[0] - 7:.1f} {trail[1] - 5:.1f}l14 10", class_="trail"),
        element("text", f"trail, {quantity(LAYER_KM, 'km')}", x=trail[0] + 10.0, y=trail[1] - 6.0, class_="small"),
        element("text", "site", x=left[0], y=height - 3.0, class_="small"),
        element("text", "transmitter", x=right[0], y=height - 3.0, class_="small end"),
    )


def scale_for(distances_km: list[float]) -> float:
    """Return the kilometres per pixel at which the longest of the paths fills the width."""
    return max(distances_km) / (WIDTH_PX - 2.0 * SIDE_PX)
