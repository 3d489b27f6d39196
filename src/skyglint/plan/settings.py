"""What a plan assumes, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from skyglint.errors import RequestError
from skyglint.path.noise import MAN_MADE, Environment
from skyglint.plan.terrain import FLAT, TerrainHorizon, load_terrain


@dataclass(frozen=True, slots=True)
class PlanSettings:
    """The assumptions of a plan.

    Attributes
    ----------
    radius_km
        How far candidates may be. Competitors on their frequencies count out to where the layer's geometry ends.
    best
        For how many candidates the expected rates by hour are computed.
    environment
        Man-made noise of ITU-R P.372.
    noise_figure_db
        Of the receiver; 6 dB is common for simple USB receivers (common practice).
    mask_deg
        Lowest usable elevation at both ends; 2 to 5 degrees are usual (ITU-R P.843 speaks of ranges to 1800 km).
    surface_height_m
        Height above sea level of the smooth Earth that stands for the ground: that of the plain, for a site on a plain.
    terrain
        The site's own horizon.
    targets
        How many targets a proposed set holds.
    month
        1 to 12, or None for the mean of the year.
    """

    radius_km: float = 1500.0
    best: int = 50
    environment: Environment = "residential"
    noise_figure_db: float = 6.0
    mask_deg: float = 3.0
    surface_height_m: float = 0.0
    terrain: TerrainHorizon = FLAT
    targets: int = 3
    month: int | None = None


def plan_settings(
    *,
    radius_km: float,
    best: int,
    environment: str,
    noise_figure_db: float,
    month: int | None,
    targets: int,
    terrain: Path | None,
    surface_height_m: float,
) -> PlanSettings:
    """Return settings from what a person wrote.

    Raises
    ------
    RequestError
        If the environment is unknown or the terrain file cannot be read.
    """
    known = next((name for name in MAN_MADE if name == environment), None)
    if known is None:
        raise RequestError(f"environment is {environment!r}: expected one of {', '.join(MAN_MADE)}")
    return PlanSettings(
        radius_km=radius_km,
        best=best,
        environment=known,
        noise_figure_db=noise_figure_db,
        month=month,
        targets=targets,
        terrain=FLAT if terrain is None else load_terrain(terrain),
        surface_height_m=surface_height_m,
    )
