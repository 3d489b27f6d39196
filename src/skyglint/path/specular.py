"""Where a path can see a radiant: the specular condition on the layer, the curve of usable points, the collecting area.

A trail echoes strongly where the way transmitter - trail - site is stationary along it: the trail touches an ellipsoid
of revolution about the two ends. With a and b the unit vectors from a point of the layer to the ends, and u the unit
vector towards the radiant, that is f = (a + b) . u = 0 (Hines 1955 and 1958, Canad. J. Phys.; McKinley, Meteor Science
and Engineering (1961) ch. 9). The usable points of one radiant form a curve on the layer, and a band dh of heights
around it collects trails like a surface across the stream of

    A = dh * integral of |grad f . u| delta(f) dS,   grad f . u = -(1 - (a.u)^2) / R1 - (1 - (b.u)^2) / R2

(the co-area form of the line integral over the curve). Echoes per hour of a stream: its flux times A. A path's layer is
covered with triangles once; f is linear in u, so any number of radiants costs one matrix product and the few triangles
that their curves cross.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.path.constants import EARTH_RADIUS_M, FloatArray
from skyglint.path.geodesy import earth_fixed_m, local_axes
from skyglint.path.geometry import dot, unit

#: Band of heights that a collecting area stands for unless another is given: 90 to 100 km around a layer at 95 km.
BAND_M = 10_000.0

#: Radiants worked on at a time: a year of hours in one go would take hundreds of megabytes.
_AT_ONCE = 1000


@dataclass(frozen=True, slots=True)
class Layer:
    """The part of the layer that both ends see above their masks, covered with triangles.

    Attributes
    ----------
    transmitter_m, receiver_m
        Earth-fixed positions of the ends, shape (3,).
    points_m, ups
        Earth-fixed corners and their vertical unit vectors, shape (n, 3).
    margin_deg
        How far each corner stands above the masks: the smaller of the two ends' margins, shape (n,). Corners just
        outside are kept, so that the edge is cut between corners and not along them.
    triangles
        Indices of the three corners, shape (m, 3).
    center_deg
        Latitude and longitude of the middle of the path.
    """

    transmitter_m: FloatArray
    receiver_m: FloatArray
    points_m: FloatArray
    ups: FloatArray
    margin_deg: FloatArray
    triangles: NDArray[np.intp]
    center_deg: tuple[float, float]

    @property
    def bisectors(self) -> FloatArray:
        """The vectors a + b of every corner, shape (n, 3)."""
        return unit(self.transmitter_m - self.points_m) + unit(self.receiver_m - self.points_m)


@dataclass(frozen=True, slots=True)
class Curves:
    """The usable curves of radiants, as short straight pieces.

    Attributes
    ----------
    radiant
        Index of each piece's radiant, shape (k,).
    points_m
        Middle of each piece, Earth-fixed, shape (k, 3).
    length_m
        Length of each piece.
    area_m2
        What each piece collects: multiply by the sensitivity there where one is known.
    rising
        Sine of the radiant's altitude over each piece.
    n_radiants
        Number of radiants asked for, with and without a curve.
    """

    radiant: NDArray[np.intp]
    points_m: FloatArray
    length_m: FloatArray
    area_m2: FloatArray
    rising: FloatArray
    n_radiants: int

    @property
    def total_length_km(self) -> FloatArray:
        """Length of each radiant's curve, shape (n_radiants,)."""
        return np.bincount(self.radiant, self.length_m, self.n_radiants) / 1e3

    @property
    def total_area_km2(self) -> FloatArray:
        """Collecting area of each radiant, shape (n_radiants,); 0 where nothing is usable."""
        return np.bincount(self.radiant, self.area_m2, self.n_radiants) / 1e6


def common_layer(
    transmitter_deg_m: tuple[float, float, float],
    receiver_deg_m: tuple[float, float, float],
    height_m: float = 95_000.0,
    mask_deg: tuple[float, float] = (3.0, 3.0),
    cell_m: float = 25_000.0,
) -> Layer:
    """Cover the part of the layer that both ends see with triangles.

    Parameters
    ----------
    transmitter_deg_m, receiver_deg_m
        Latitude, longitude and height in metres of the two ends.
    height_m
        Height of the layer above the ellipsoid.
    mask_deg
        Lowest usable elevation at the transmitter and at the site.
    cell_m
        Side of the cells. 25 km gives areas to about 0.5 %, 50 km to about 1 % at a quarter of the cost.

    Returns
    -------
    Layer
        Without triangles when no point is seen from both ends.
    """
    ends_m = np.stack([earth_fixed_m(*transmitter_deg_m), earth_fixed_m(*receiver_deg_m)])
    verticals = np.stack([local_axes(*end[:2])[2] for end in (transmitter_deg_m, receiver_deg_m)])
    forward, right, center = _path_axes(ends_m)
    reach = max(_cap_rad(mask, height_m) for mask in mask_deg) + cell_m / EARTH_RADIUS_M + np.radians(0.3)
    half = float(np.arccos(np.clip(unit(ends_m[0]) @ unit(ends_m[1]), -1, 1))) / 2
    cell = cell_m / (EARTH_RADIUS_M + height_m)
    # Each end sees a cap of radius ``reach``; both lie within this rectangle along and across the path.
    along = np.arange(-max(reach - half, cell), max(reach - half, cell) + cell, cell)
    across_limit = float(np.arccos(np.clip(np.cos(reach) / np.cos(half), -1, 1)))
    across = np.arange(-max(across_limit, cell), max(across_limit, cell) + cell, cell)
    x, y = np.meshgrid(along, across, indexing="ij")
    directions = (
        (np.cos(y) * np.cos(x))[..., None] * center
        + (np.cos(y) * np.sin(x))[..., None] * forward
        + np.sin(y)[..., None] * right
    )
    latitude = np.degrees(np.arcsin(directions[..., 2])).ravel()
    longitude = np.degrees(np.arctan2(directions[..., 1], directions[..., 0])).ravel()
    middle = (float(np.degrees(np.arcsin(center[2]))), float(np.degrees(np.arctan2(center[1], center[0]))))
    points, ups = earth_fixed_m(latitude, longitude, height_m), local_axes(latitude, longitude)[:, 2]
    return layer_of_points(ends_m, verticals, points, ups, x.shape, mask_deg, middle)


def layer_of_points(
    ends_m: FloatArray,
    end_ups: FloatArray,
    points_m: FloatArray,
    ups: FloatArray,
    shape: tuple[int, ...],
    mask_deg: tuple[float, float],
    center_deg: tuple[float, float],
) -> Layer:
    """Return the layer of a grid of points, shape (rows * columns, 3), on an Earth of any shape.

    ``ends_m`` and ``end_ups`` hold the transmitter's and the site's position and vertical, shape (2, 3).
    """
    lines = points_m - ends_m[:, None, :]
    sine = np.einsum("epi,ei->ep", lines, end_ups) / np.linalg.norm(lines, axis=-1)
    margin = np.min(np.degrees(np.arcsin(np.clip(sine, -1, 1))) - np.asarray(mask_deg)[:, None], axis=0)
    rows, columns = shape
    corner = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = (part.ravel() for part in (corner[:-1, :-1], corner[1:, :-1], corner[1:, 1:], corner[:-1, 1:]))
    triangles = np.concatenate([np.stack([a, b, c], axis=-1), np.stack([a, c, d], axis=-1)])
    triangles = triangles[np.any(margin[triangles] > 0, axis=1)]
    used, renumbered = np.unique(triangles, return_inverse=True)
    return Layer(ends_m[0], ends_m[1], points_m[used], ups[used], margin[used], renumbered.reshape(-1, 3), center_deg)


def usable_curves(layer: Layer, radiants: ArrayLike, band_m: float = BAND_M) -> Curves:
    """Return the usable curve of every radiant and what it collects.

    Parameters
    ----------
    layer
        The path's layer.
    radiants
        Earth-fixed unit vectors towards the radiants, shape (..., 3); they are numbered in flattened order. A radiant
        below the horizon of a point gives nothing there.
    band_m
        Band of heights.
    """
    vectors = np.asarray(radiants, dtype=np.float64).reshape(-1, 3)
    bisectors = layer.bisectors
    starts = range(0, len(vectors), _AT_ONCE) or [0]
    parts = [_pieces(layer, bisectors, vectors[start : start + _AT_ONCE], band_m) for start in starts]
    radiant = np.concatenate([start + part[0] for start, part in zip(starts, parts, strict=True)])
    points, length, area, rising = (np.concatenate([part[i] for part in parts]) for i in range(1, 5))
    return Curves(radiant, points, length, area, rising, len(vectors))


def _pieces(
    layer: Layer, bisectors: FloatArray, vectors: FloatArray, band_m: float
) -> tuple[NDArray[np.intp], FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return radiant, middle, length, area and rising of all pieces of the radiants' curves."""
    residual = bisectors @ vectors.T
    positive = residual > 0
    corners = layer.triangles
    above = positive[corners[:, 0]].astype(np.int8) + positive[corners[:, 1]] + positive[corners[:, 2]]
    crossed, radiant = np.nonzero((above == 1) | (above == 2))
    ids = corners[crossed]
    f, p = residual[ids, radiant[:, None]], layer.points_m[ids]
    u = vectors[radiant]

    ends = _crossing_weights(f)
    margins = np.einsum("kec,kc->ke", ends, layer.margin_deg[ids])
    heights = np.einsum("kec,kc->ke", ends, np.einsum("kci,ki->kc", layer.ups[ids], u))
    start, stop = _positive_part(margins, heights)
    middle = 0.5 * (start + stop)[:, None]
    blend = ends[:, 0] + middle * (ends[:, 1] - ends[:, 0])
    at = np.einsum("kc,kci->ki", blend, p)
    whole = np.linalg.norm(np.einsum("kc,kci->ki", ends[:, 1] - ends[:, 0], p), axis=-1)
    length = whole * (stop - start)

    to_t, to_r = layer.transmitter_m - at, layer.receiver_m - at
    range_t, range_r = np.linalg.norm(to_t, axis=-1), np.linalg.norm(to_r, axis=-1)
    along_t, along_r = dot(to_t, u) / range_t, dot(to_r, u) / range_r
    closing = (1 - along_t**2) / range_t + (1 - along_r**2) / range_r
    area = band_m * closing * length / _slope(f, p)
    rising = np.einsum("kc,kci,ki->k", blend, layer.ups[ids], u)
    keep = length > 0
    return radiant[keep], at[keep], length[keep], area[keep], rising[keep]


def _path_axes(ends_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the axes towards the transmitter, to the right and up, at the middle of the path."""
    transmitter, receiver = unit(ends_m[0]), unit(ends_m[1])
    center = unit(transmitter + receiver)
    chord = transmitter - receiver
    if np.linalg.norm(chord) < 1e-9:  # both ends in one place: any direction will do
        chord = np.cross(center, np.eye(3)[np.argmin(np.abs(center))])
    forward = unit(chord)
    return forward, np.cross(forward, center), center


def _cap_rad(mask_deg: float, height_m: float) -> float:
    """Return the angle at the Earth's centre out to which one end sees the layer above its mask."""
    mask = np.radians(mask_deg)
    return float(np.arccos(EARTH_RADIUS_M * np.cos(mask) / (EARTH_RADIUS_M + height_m)) - mask)


def _crossing_weights(f: FloatArray) -> FloatArray:
    """Return the corner weights, shape (k, 2, 3), of the two points where f is zero on a triangle's sides."""
    # The corner that stands alone on its side of zero meets both crossed sides.
    alone = np.where((f > 0).sum(axis=1)[:, None] == 1, f > 0, f <= 0)
    first = np.argmax(alone, axis=1)
    rows = np.arange(len(f))
    weights = np.zeros((len(f), 2, 3))
    for end, step in enumerate((1, 2)):
        other = (first + step) % 3
        share = f[rows, first] / (f[rows, first] - f[rows, other])
        weights[rows, end, first] = 1 - share
        weights[rows, end, other] = share
    return weights


def _positive_part(*values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return where, from 0 to 1 between two ends, linear functions with values (k, 2) at the ends are all positive."""
    start, stop = np.zeros(len(values[0])), np.ones(len(values[0]))
    for left, right in ((value[:, 0], value[:, 1]) for value in values):
        zero = left / np.where(left == right, 1.0, left - right)
        start = np.where((left <= 0) & (right > 0), np.maximum(start, zero), start)
        stop = np.where((left > 0) & (right <= 0), np.minimum(stop, zero), stop)
        stop = np.where((left <= 0) & (right <= 0), 0.0, stop)
    return start, np.maximum(stop, start)


def _slope(f: FloatArray, p: FloatArray) -> FloatArray:
    """Return the length of the gradient of the linear function with corner values f in triangles with corners p."""
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    d1, d2 = f[:, 1] - f[:, 0], f[:, 2] - f[:, 0]
    g11, g12, g22 = dot(e1, e1), dot(e1, e2), dot(e2, e2)
    return np.asarray(np.sqrt((d1**2 * g22 - 2 * d1 * d2 * g12 + d2**2 * g11) / (g11 * g22 - g12**2)))
