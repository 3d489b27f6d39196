"""The site's horizon: how high hills, woods and houses stand, by azimuth."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.errors import RequestError


@dataclass(frozen=True, slots=True)
class TerrainHorizon:
    """Elevations of the horizon at azimuths, in between interpolated."""

    azimuth_deg: tuple[float, ...]
    elevation_deg: tuple[float, ...]

    def at(self, azimuth_deg: ArrayLike) -> NDArray[np.float64]:
        """Return the horizon's elevation at azimuths."""
        return np.interp(np.mod(azimuth_deg, 360.0), self.azimuth_deg, self.elevation_deg, period=360.0)


#: No terrain: nothing stands above the smooth Earth.
FLAT = TerrainHorizon((0.0,), (-90.0,))


def read_terrain(lines: Iterable[str], name: str) -> TerrainHorizon:
    """Read a CSV table with the columns ``azimuth_deg`` and ``elevation_deg``.

    Raises
    ------
    RequestError
        With the line, if the table lacks a column, is empty, or holds no number where one must be.
    """
    reader = csv.DictReader(lines)
    points: list[tuple[float, float]] = []
    for row in reader:
        try:
            azimuth, elevation = float(row["azimuth_deg"]), float(row["elevation_deg"])
        except (KeyError, TypeError, ValueError) as error:
            raise RequestError(
                f"{name}: line {reader.line_num}: expected numbers in the columns azimuth_deg and elevation_deg"
            ) from error
        if not (0 <= azimuth <= 360 and -90 <= elevation < 90):
            raise RequestError(
                f"{name}: line {reader.line_num}: azimuth {azimuth:g}, elevation {elevation:g}: expected 0 to 360 "
                "degrees and -90 to 90 degrees"
            )
        points.append((azimuth, elevation))
    if not points:
        raise RequestError(f"{name}: no rows: expected a header line azimuth_deg,elevation_deg and numbers under it")
    points.sort()
    return TerrainHorizon(tuple(a for a, _ in points), tuple(e for _, e in points))


def load_terrain(path: Path) -> TerrainHorizon:
    """Read a terrain file as :func:`read_terrain` does.

    Raises
    ------
    RequestError
        Also if the file cannot be opened.
    """
    try:
        return read_terrain(path.read_text(encoding="utf-8-sig").splitlines(), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise RequestError(f"{path}: cannot be read as a table of the horizon: {error}") from error
