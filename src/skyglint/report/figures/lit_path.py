"""One path to scale over a round Earth and over a plane, and what a receiver hears of it as a trail lights up.

The parts that move carry classes whose animation is in the page's style sheet; without it, or where the reader asked
for less motion, everything is shown at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from markupsafe import Markup

from skyglint.path.constants import EARTH_RADIUS_M
from skyglint.report.figures.svg import element, figure, polyline
from skyglint.report.numbers import THIN, quantity

WIDTH_PX, SIDE_PX, TOP_PX, STRIP_PX = 360.0, 10.0, 34.0, 52.0
EARTH_RADIUS_KM = EARTH_RADIUS_M / 1e3
LAYER_KM = 95.0

_Place = Callable[[float, float], tuple[float, float]]


def lit_path(label: str, distance_km: float, *, is_round: bool) -> Markup:
    """Return the section, both axes with one scale, and under it the level at the site through some seconds."""
    scale = (WIDTH_PX - 2 * SIDE_PX) / distance_km
    sag_km = EARTH_RADIUS_KM * (1 - math.cos(distance_km / 2 / EARTH_RADIUS_KM))
    # Both sections have the same height, so that they stand side by side.
    base = TOP_PX + (LAYER_KM + sag_km) * scale

    def around(along_km: float, height_km: float) -> tuple[float, float]:
        angle, radius = (along_km - distance_km / 2) / EARTH_RADIUS_KM, EARTH_RADIUS_KM + height_km
        y_km = radius * math.cos(angle) - (EARTH_RADIUS_KM - sag_km)
        return WIDTH_PX / 2 + radius * math.sin(angle) * scale, base - y_km * scale

    def flat(along_km: float, height_km: float) -> tuple[float, float]:
        return SIDE_PX + along_km * scale, base - height_km * scale

    at = around if is_round else flat
    foot = base + 14.0
    return figure(
        label,
        WIDTH_PX,
        foot + 26.0 + STRIP_PX,
        *_ground(at, distance_km, foot),
        *(_hidden(at, distance_km) if is_round else _open(at, distance_km)),
        *_strip(foot + 26.0, is_round=is_round),
        class_="figure lit",
    )


def _ground(at: _Place, distance_km: float, foot: float) -> list[Markup]:
    along = [distance_km * k / 48 for k in range(49)]
    ground = [at(km, 0.0) for km in along]
    layer = [at(km, LAYER_KM) for km in along]
    site, sender = ground[0], ground[-1]
    return [
        element("path", d=polyline([*ground, (sender[0], foot), (site[0], foot)]) + "Z", class_="ground"),
        element("path", d=polyline(layer), class_="layer"),
        element("text", f"{quantity(LAYER_KM, 'km')} up", x=layer[0][0], y=layer[0][1] - 5),
        element("circle", cx=site[0], cy=site[1], r=3.0, class_="end-point"),
        element("circle", cx=sender[0], cy=sender[1], r=3.0, class_="end-point"),
        element("text", "site", x=site[0] - 4, y=foot + 14),
        element("text", "transmitter", x=sender[0] + 4, y=foot + 14, class_="end"),
    ]


def _trail(at: _Place, distance_km: float) -> tuple[float, float]:
    return at(distance_km / 2, LAYER_KM)


def _hidden(at: _Place, distance_km: float) -> list[Markup]:
    site, sender, (x, y) = at(0.0, 0.0), at(distance_km, 0.0), _trail(at, distance_km)
    return [
        element("path", d=polyline([site, sender]), class_="chord"),
        element("path", d=polyline([sender, (x, y)]), class_="ray lit-1", pathLength=100),
        element("path", d=polyline([(x, y), site]), class_="ray lit-2", pathLength=100),
        element(
            "path", d=f"M{x - 30:.1f} {y - 24:.1f}L{x + 8:.1f} {y + 6.4:.1f}", class_="trail streak", pathLength=100
        ),
        element("text", "trail", x=x + 14, y=y - 8, class_="lit-word"),
    ]


def _open(at: _Place, distance_km: float) -> list[Markup]:
    site, sender = at(0.0, 0.6), at(distance_km, 0.6)
    return [
        element("path", d=polyline([sender, site]), class_="ray"),
        element("text", "an open straight line", x=WIDTH_PX / 2, y=site[1] - 7, class_="middle"),
    ]


def _strip(top: float, *, is_round: bool) -> list[Markup]:
    """Return the level at the site: noise and one echo, or a steady signal."""
    base, left, right = top + STRIP_PX - 6, SIDE_PX, WIDTH_PX - SIDE_PX
    points = []
    for k in range(181):
        ripple = 1.6 * math.sin(2.1 * k) + 1.1 * math.sin(5.3 * k + 1)
        echo = 30.0 * math.exp(-(k - 60) / 22.0) if k >= 60 else 0.0
        height = 4.0 + echo if is_round else 32.0
        points.append((left + (right - left) * k / 180, base - height - ripple))
    words = "what you hear: nothing, then an echo" if is_round else f"what you would hear: the station, always{THIN}"
    return [
        element("line", x1=left, y1=base, x2=right, y2=base, class_="rule"),
        element("path", d=polyline(points), class_="ink-line pen" if is_round else "ink-line", pathLength=100),
        element("text", words, x=right, y=top + (4 if is_round else 2), class_="end"),
    ]
