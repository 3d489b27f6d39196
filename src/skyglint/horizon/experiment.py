"""The experiment as a whole: levels, silence, heights and the solar clock of one site."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from skyglint.activity.rates import read_rates
from skyglint.horizon.echo_heights import EchoHeights, echo_heights, lowest_common_height_km
from skyglint.horizon.levels import Level
from skyglint.horizon.likelihood import Measured
from skyglint.horizon.links import View, links_of, views_of
from skyglint.horizon.matching import Survey, match_levels
from skyglint.horizon.radius import RadiusResult, weigh
from skyglint.horizon.silence import Scale, Silence, median_floors_dbfs, silences, transmitter_of
from skyglint.horizon.solar_clock import SolarClockEvidence, solar_clock_evidence
from skyglint.path.geodesy import WGS84_AXIS_M, WGS84_FLATTENING
from skyglint.site import Site
from skyglint.store.store import Store
from skyglint.transmitters.transmitter import Transmitter

#: The mean radius of the WGS 84 ellipsoid, (2 a + b) / 3. It enters no fit.
WGS84_MEAN_RADIUS_KM = WGS84_AXIS_M * (3 - WGS84_FLATTENING) / 3e3


@dataclass(frozen=True, slots=True)
class Night:
    """What a database of results contributes.

    Attributes
    ----------
    floors_dbfs
        Median floor of each channel.
    heights
        Of each target's echoes.
    clock
        The day's course.
    """

    floors_dbfs: dict[str, float]
    heights: tuple[EchoHeights, ...]
    clock: SolarClockEvidence


@dataclass(frozen=True, slots=True)
class Experiment:
    """Everything that the experiment has to say.

    Attributes
    ----------
    site, view
        Where, and the most probable view of the links: the height above sea level of the smooth surface that stands
        for the ground, and how much of the antenna's pattern to believe.
    survey, result
        Levels joined to transmitters, and what they say; ``None`` without usable levels.
    silences, scale, silence_log10_odds
        The targets' direct signals, the receiver's scale, and the odds of round to plane from them alone (NaN where
        nothing was measured).
    night
        Of the database, if one was given.
    """

    site: Site
    view: View
    survey: Survey | None
    result: RadiusResult | None
    silences: tuple[Silence, ...]
    scale: Scale | None
    silence_log10_odds: float
    night: Night | None

    @property
    def levels_used(self) -> int:
        """Transmitters whose levels entered the fit."""
        return 0 if self.survey is None else len(self.survey.transmitters)


def run_experiment(
    site: Site,
    transmitters: Sequence[Transmitter],
    levels: Sequence[Level],
    store: Store | None = None,
    *,
    surface_height_m: float | None = None,
    full_scale_dbm: float | None = None,
) -> Experiment:
    """Weigh everything that was measured at a site.

    Parameters
    ----------
    transmitters, levels
        A list and what was measured of it; may be empty.
    store
        A database of results of the same site.
    surface_height_m
        Of the smooth surface; where ``None`` the levels decide between the site's ground and the sea.
    full_scale_dbm
        Power that fills the converter, for the night's floors, where the observer measured it.
    """
    views = views_of(site, surface_height_m)
    survey = match_levels(site, levels, transmitters, views[0].surface_height_m) if transmitters and levels else None
    result = None
    view = views[0]
    if survey is not None and survey.transmitters:
        seen = [links_of(site, survey.transmitters, one.surface_height_m, one.pattern_depth) for one in views]
        result = weigh(seen, survey.measured)
        view, survey = views[result.variant], replace(survey, links=seen[result.variant])
    night = None if store is None else read_night(site, store, view.surface_height_m)
    floors = {} if night is None else night.floors_dbfs
    rows, scale = silences(site, view.surface_height_m, floors, full_scale_dbm=full_scale_dbm)
    return Experiment(
        site=site,
        view=view,
        survey=survey,
        result=result,
        silences=rows,
        scale=scale,
        silence_log10_odds=_odds_of_silence(site, rows, view.surface_height_m),
        night=night,
    )


def read_night(site: Site, store: Store, surface_height_m: float) -> Night:
    """Return what a database says of floors, heights and hours.

    Raises
    ------
    RequestError
        If it holds several sites.
    """
    own_m = site.site.height_m + site.antenna.height_above_ground_m - surface_height_m
    lowest = {}
    for channel in site.channel:
        sender = transmitter_of(channel, site.antenna.polarization)
        if channel.role == "target" and sender is not None:
            link = links_of(site, [sender], surface_height_m)
            distance_m, height_m = float(link.distance_m[0]), float(link.transmitter_height_m[0])
            lowest[channel.name] = distance_m / 1e3, lowest_common_height_km(distance_m, own_m, height_m)
    return Night(
        floors_dbfs=median_floors_dbfs(store.floors()),
        heights=echo_heights(lowest, store.echoes()),
        clock=solar_clock_evidence(read_rates(store)),
    )


def _odds_of_silence(site: Site, rows: Sequence[Silence], surface_height_m: float) -> float:
    measured = [row for row in rows if not math.isnan(row.measured_dbm)]
    if not measured:
        return math.nan
    senders = [
        sender
        for one in site.channel
        if one.name in {row.channel for row in measured}
        if (sender := transmitter_of(one, site.antenna.polarization))
    ]
    levels = Measured(
        np.array([row.measured_dbm for row in measured]),
        np.array([row.sd_db for row in measured]),
        np.array([row.is_limit for row in measured], dtype=np.bool_),
    )
    return weigh([links_of(site, senders, surface_height_m)], levels).log10_odds
