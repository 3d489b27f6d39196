"""Where the echoes came from: heights from decay times against the lowest height that both ends see."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from skyglint.path.constants import EARTH_RADIUS_M
from skyglint.path.horizon import lowest_visible_height_m
from skyglint.store.records import StoredEcho


@dataclass(frozen=True, slots=True)
class EchoHeights:
    """The heights of one target's echoes.

    Attributes
    ----------
    channel, distance_km
        Which.
    lowest_km
        Lowest height over the middle of the path that both ends see over a round Earth, straight rays; over a plane it
        would be zero.
    heights_km, sds_km
        Heights from decay times and their standard errors, shape (n,).
    consistent
        How many lie above the lowest height, or less than two standard errors under it.
    """

    channel: str
    distance_km: float
    lowest_km: float
    heights_km: tuple[float, ...]
    sds_km: tuple[float, ...]
    consistent: int

    @property
    def share(self) -> float:
        """Share of the measured heights that agree; NaN without any."""
        return self.consistent / len(self.heights_km) if self.heights_km else math.nan

    @property
    def sentence(self) -> str:
        """What the heights say, no more."""
        lowest = (
            f"Over a round Earth both ends of this {self.distance_km:.0f} km path first see the same air "
            f"{self.lowest_km:.1f} km up."
        )
        if not self.heights_km:
            return f"{lowest} No echo's height was measured."
        middle = float(np.median(self.heights_km))
        return (
            f"{lowest} {self.consistent} of {len(self.heights_km)} measured heights agree with that (median "
            f"{middle:.0f} km). They would fit over a plane as well: this supports the round Earth only together with "
            "the silence of the direct signal."
        )


def lowest_common_height_km(distance_m: float, site_height_m: float, transmitter_height_m: float) -> float:
    """Return the lowest height above the ground that two antennas both see over a sphere of 6371 km.

    The heights where either loses sight, rising with the distance from it, cross at one place on the path.
    """
    along = np.linspace(0.0, distance_m, 2001)
    seen = np.maximum(
        lowest_visible_height_m(along, site_height_m, EARTH_RADIUS_M),
        lowest_visible_height_m(distance_m - along, transmitter_height_m, EARTH_RADIUS_M),
    )
    return float(seen.min()) / 1e3


def echo_heights(lowest_km: Mapping[str, tuple[float, float]], echoes: Sequence[StoredEcho]) -> tuple[EchoHeights, ...]:
    """Return the heights of each channel's meteoric echoes.

    Parameters
    ----------
    lowest_km
        By channel: its distance and the lowest height that both ends see, km.
    """
    rows = []
    for channel, (distance_km, lowest) in lowest_km.items():
        own = [
            one.echo
            for one in echoes
            if one.meteoric and one.echo.channel == channel and math.isfinite(one.echo.height_km)
        ]
        heights = tuple(echo.height_km for echo in own)
        sds = tuple(echo.height_sd_km if math.isfinite(echo.height_sd_km) else 0.0 for echo in own)
        agree = sum(height + 2 * sd >= lowest for height, sd in zip(heights, sds, strict=True))
        rows.append(EchoHeights(channel, distance_km, lowest, heights, sds, agree))
    return tuple(rows)
