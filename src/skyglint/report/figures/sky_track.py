"""A satellite's way over the sky: zenith in the middle, horizon around it, north up and east to the right."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from markupsafe import Markup

from skyglint.report.figures.svg import element, figure, polyline

SIZE_PX = 300.0
_CENTER_PX, _RADIUS_PX = SIZE_PX / 2, 124.0
#: Points that get their time written beside them, apart by at least this.
_APART_PX = 26.0


def sky_track(
    label: str,
    azimuth_deg: Sequence[float],
    elevation_deg: Sequence[float],
    sunlit: Sequence[bool],
    times: Sequence[tuple[int, str]],
) -> Markup:
    """Return the track: a thick line where the Sun shines on the satellite, a thin broken one in the Earth's shadow.

    Parameters
    ----------
    azimuth_deg, elevation_deg, sunlit
        The track, in the order of time.
    times
        Points of the track, by their number, with the words to stand beside each.
    """
    points = [at(azimuth, elevation) for azimuth, elevation in zip(azimuth_deg, elevation_deg, strict=True)]
    parts = [*_sky()]
    for lit, part in _stretches(points, sunlit):
        parts.append(element("path", d=polyline(part), class_="lit" if lit else "shadow"))
    written: list[tuple[float, float]] = []
    for index, words in times:
        x, y = points[index]
        if all(math.dist((x, y), other) >= _APART_PX for other in written):
            written.append((x, y))
            parts.append(element("circle", cx=x, cy=y, r=2.5, class_="moment"))
            parts.append(_words_at(words, x, y))
    if points:
        parts.append(element("circle", cx=points[-1][0], cy=points[-1][1], r=3.5, class_="goes"))
    return figure(label, SIZE_PX, SIZE_PX, *parts)


def at(azimuth_deg: float, elevation_deg: float) -> tuple[float, float]:
    """Return where a direction lies on the chart, distance from the zenith to scale; below the horizon on its rim."""
    distance = _RADIUS_PX * (90.0 - max(elevation_deg, 0.0)) / 90.0
    turn = math.radians(azimuth_deg)
    return _CENTER_PX + distance * math.sin(turn), _CENTER_PX - distance * math.cos(turn)


def _sky() -> Iterator[Markup]:
    yield element("circle", cx=_CENTER_PX, cy=_CENTER_PX, r=_RADIUS_PX, class_="horizon")
    for elevation in (30, 60):
        radius = _RADIUS_PX * (90 - elevation) / 90
        yield element("circle", cx=_CENTER_PX, cy=_CENTER_PX, r=radius, class_="rule")
        yield element("text", f"{elevation}°", x=_CENTER_PX + 3, y=_CENTER_PX - radius + 13, class_="halo faint")
    yield element("path", d=f"M{_CENTER_PX - 4} {_CENTER_PX}h8m-4-4v8", class_="axis")
    for azimuth, name in ((0, "N"), (90, "E"), (180, "S"), (270, "W")):
        turn = math.radians(azimuth)
        x, y = _CENTER_PX + (_RADIUS_PX + 13) * math.sin(turn), _CENTER_PX - (_RADIUS_PX + 13) * math.cos(turn)
        yield element("text", name, x=x, y=y + 4, class_="middle")


def _stretches(
    points: Sequence[tuple[float, float]], sunlit: Sequence[bool]
) -> Iterator[tuple[bool, list[tuple[float, float]]]]:
    """Yield runs of equal light, each joined to the next one's first point."""
    start = 0
    for k in range(1, len(points) + 1):
        if k == len(points) or sunlit[k] != sunlit[start]:
            yield bool(sunlit[start]), list(points[start : k + 1])
            start = k


def _words_at(words: str, x: float, y: float) -> Markup:
    """Return words beside a point, on the side of the zenith, where the track does not run."""
    far = math.dist((x, y), (_CENTER_PX, _CENTER_PX))
    right, down = ((_CENTER_PX - x) / far, (_CENTER_PX - y) / far) if far > 1.0 else (1.0, 0.0)
    side = "middle" if abs(right) < 0.4 else "end" if right < 0 else "start"
    return element("text", words, x=x + 8 * right, y=y + 4 + 14 * down, class_=f"{side} halo")
