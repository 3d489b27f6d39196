"""The page of the horizon experiment, made for showing to people: one HTML file that needs nothing else.

Whatever belongs to single transmitters or paths (distances, levels expected of them) is computed from the site rounded
to 0.1 degree, because exact distances to several transmitters give away where the antenna stands; only the result of
the fit, a few numbers, comes from the exact place.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

import skyglint
from skyglint.activity.bins import solar_hour_edges
from skyglint.activity.poisson import ONE_SIGMA
from skyglint.activity.rates import rates
from skyglint.horizon import radius
from skyglint.horizon.experiment import WGS84_MEAN_RADIUS_KM, Experiment, run_experiment
from skyglint.horizon.levels import Level
from skyglint.horizon.links import Links
from skyglint.horizon.models import free_levels_dbm, plane_levels_dbm, round_levels
from skyglint.plan import notes
from skyglint.report import horizon_words, numbers, tokens
from skyglint.report.figures import levels as level_marks
from skyglint.report.figures.curvature import curvature_figure
from skyglint.report.figures.levels import LevelMark, Mark, Model, levels_figure
from skyglint.report.figures.lit_path import lit_path
from skyglint.report.figures.section import section_of
from skyglint.report.figures.solar_clock import SolarHour, solar_clock
from skyglint.report.together import Together, by_solar_hour
from skyglint.site import Site
from skyglint.store.store import Store
from skyglint.transmitters.transmitter import Transmitter

#: Path of the drawing where the site file names no far target.
_USUAL_PATH_KM = 700.0
WIDE_PX, NARROW_PX = 760.0, 340.0


@dataclass(frozen=True, slots=True)
class HorizonPage:
    """What the page shows.

    Attributes
    ----------
    experiment
        From the exact place: only the verdict, the radius and counts are shown of it.
    shown
        The same from the rounded place, for everything else.
    solar_hours
        Rates of all targets by solar hour; empty without a database.
    lists
        Where transmitters and levels came from, one sentence each.
    """

    experiment: Experiment
    shown: Experiment
    solar_hours: tuple[Together, ...]
    lists: tuple[str, ...]

    @property
    def path_km(self) -> float:
        """Length of the path that is drawn: the farthest target's, to 10 km."""
        return 10 * round(max([one.distance_km for one in self.shown.silences], default=_USUAL_PATH_KM) / 10) or 10.0


def gather_horizon(
    experiment: Experiment,
    transmitters: Sequence[Transmitter],
    levels: Sequence[Level],
    store: Store | None,
    lists: Sequence[str],
    full_scale_dbm: float | None = None,
) -> HorizonPage:
    """Return the page's record for an experiment and what it was made of."""
    shown = run_experiment(
        rounded(experiment.site),
        transmitters,
        levels,
        store,
        surface_height_m=experiment.view.surface_height_m,
        full_scale_dbm=full_scale_dbm,
    )
    hours = () if store is None else _solar_hours(store, experiment.site.site.longitude_deg)
    return HorizonPage(experiment, shown, hours, tuple(lists))


def rounded(site: Site) -> Site:
    """Return the site as the page may know it, to 0.1 degree."""
    place = site.site
    near = {"latitude_deg": round(place.latitude_deg, 1), "longitude_deg": round(place.longitude_deg, 1)}
    return site.model_copy(update={"site": place.model_copy(update=near)})


def render_horizon(page: HorizonPage) -> str:
    """Return the page as HTML; every text that came from outside is escaped on its way in."""
    import skyglint.report.horizon_page as views

    surroundings = Environment(
        loader=PackageLoader("skyglint.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    surroundings.globals.update(
        numbers=numbers, views=views, words=horizon_words, notes=notes, marks=level_marks, radius=radius
    )
    return surroundings.get_template("horizon.html.jinja").render(
        page=page, experiment=page.experiment, version=skyglint.__version__, tokens=Markup(tokens.css_variables())
    )


def round_scene(page: HorizonPage) -> Markup:
    """Return the path over a round Earth, with a trail that lights it up."""
    return lit_path(
        f"a path of {page.path_km:.0f} km over a round Earth, to scale: the ground hides the transmitter, a trail at "
        "95 km is seen by both ends",
        page.path_km,
        is_round=True,
    )


def plane_scene(page: HorizonPage) -> Markup:
    """Return the same path over a plane."""
    return lit_path(
        f"the same {page.path_km:.0f} km over a plane, to scale: nothing stands between site and transmitter",
        page.path_km,
        is_round=False,
    )


def scene_words(page: HorizonPage) -> tuple[str, str]:
    """Say what the two drawings show."""
    path = section_of(page.path_km)
    distance = numbers.quantity(page.path_km, "km")
    return (
        f"To scale, {distance}. The straight line between the ends runs up to "
        f"{numbers.quantity(path.sagitta_km, 'km', 1)} under the ground. A meteor's trail above the middle stands "
        f"{numbers.quantity(path.elevation_deg, '°', 1)} over both horizons and scatters the station for a moment.",
        f"The same {distance} to the same scale. Nothing stands in the way of the straight line: the station would be "
        "heard day and night, and a trail would add little to it.",
    )


def levels_chart(page: HorizonPage, width: float) -> Markup:
    """Return levels against distance, for one width of page."""
    survey, result = page.shown.survey, page.experiment.result
    assert survey is not None
    assert result is not None
    free = free_levels_dbm(survey.links)
    measured = survey.measured.level_dbm - result.round_fit.offset_db - free
    kinds = mark_kinds(page)
    marks = [
        LevelMark(
            round(float(survey.links.distance_m[k]) / 1e3, 1),
            round(float(measured[k]), 1),
            kinds[k],
            f"{one.name}, {numbers.frequency(one.frequency_hz)}",
        )
        for k, one in enumerate(survey.transmitters)
    ]
    label = (
        f"levels of {len(marks)} transmitters against distance, relative to free space, with the curves that a round "
        "Earth and a plane predict"
    )
    return levels_figure(label, width, marks, _models(page))


def mark_kinds(page: HorizonPage) -> list[Mark]:
    """Return what kind of reading each transmitter's is; wild by the model that the verdict favours, or the round."""
    survey, result = page.shown.survey, page.experiment.result
    assert survey is not None
    assert result is not None
    wild = (result.plane_fit if result.verdict == "plane" else result.round_fit).wild
    return [
        "wild" if share > 0.5 else "limit" if limit else "reading"
        for share, limit in zip(wild, survey.measured.is_limit, strict=True)
    ]


def _models(page: HorizonPage) -> list[Model]:
    """Return both models' curves for the surveyed transmitters' median heights, and for low and high ones."""
    survey, result = page.shown.survey, page.experiment.result
    assert survey is not None
    assert result is not None
    far = 1.02 * float(survey.links.distance_m.max())
    shift = result.plane_fit.offset_db - result.round_fit.offset_db
    curves: dict[str, list[list[tuple[float, float]]]] = {"round Earth": [], "plane": []}
    for percent in (50, 10, 90):
        height = float(np.percentile(survey.links.transmitter_height_m, percent))
        links = _typical(survey.links, height, far)
        free = free_levels_dbm(links)
        around = round_levels(links, [1e3 * result.effective.median_km]).total_dbm(result.strength_db)[:, 0]
        for name, level in (("round Earth", around - free), ("plane", plane_levels_dbm(links) - free + shift)):
            curves[name].append(
                [(round(float(d) / 1e3, 1), float(db)) for d, db in zip(links.distance_m, level, strict=True)]
            )
    return [Model(name, *three) for name, three in curves.items()]


def _typical(links: Links, height_m: float, far_m: float) -> Links:
    distance = np.linspace(max(far_m / 150, 500.0), far_m, 150)
    same = np.ones(len(distance))
    return Links(
        distance_m=distance,
        azimuth_deg=0 * same,
        frequency_hz=float(np.median(links.frequency_hz)) * same,
        transmitter_height_m=height_m * same,
        site_height_m=links.site_height_m[0] * same,
        eirp_dbm=float(np.median(links.eirp_dbm)) * same,
        gain_dbi=float(np.median(links.gain_dbi)) * same,
        vertical=np.zeros(len(distance), dtype=np.bool_),
        height_known=np.ones(len(distance), dtype=np.bool_),
    )


def radius_chart(page: HorizonPage) -> Markup:
    """Return how probable each effective radius is."""
    result = page.experiment.result
    assert result is not None
    step = max(len(result.radius_km) // 160, 1)
    found = result.effective
    return curvature_figure(
        "probability of each effective radius, with the 68 and 95 % intervals",
        [float(value) for value in result.radius_km[::step]],
        [float(value) for value in result.density[::step]],
        ((found.low_68_km, found.high_68_km), (found.low_95_km, found.high_95_km)),
        (radius.REFRACTION_LOW * WGS84_MEAN_RADIUS_KM, radius.REFRACTION_HIGH * WGS84_MEAN_RADIUS_KM),
    )


def level_rows(page: HorizonPage) -> list[tuple[str, str, str, str, str, str]]:
    """Return the table of transmitters: name, distance, measured, both predictions and a remark."""
    survey, result = page.shown.survey, page.experiment.result
    assert survey is not None
    assert result is not None
    around = round_levels(survey.links, [1e3 * result.effective.median_km]).total_dbm(result.strength_db)[:, 0]
    plane = plane_levels_dbm(survey.links)
    remarks = {"reading": "", "limit": "", "wild": "wild: fits neither its power nor its height"}
    kinds = mark_kinds(page)
    return [
        (
            survey.transmitters[k].name,
            numbers.distance(float(survey.links.distance_m[k]) / 1e3),
            (f"<{numbers.THIN}" if survey.measured.is_limit[k] else "")
            + numbers.quantity(float(survey.measured.level_dbm[k]), "dBm"),
            numbers.quantity(float(around[k]) + result.round_fit.offset_db, "dBm"),
            numbers.quantity(float(plane[k]) + result.plane_fit.offset_db, "dBm"),
            remarks[kinds[k]],
        )
        for k in np.argsort(survey.links.distance_m)
    ]


def clock_chart(page: HorizonPage) -> Markup:
    """Return the solar clock of all targets."""
    hours = [
        SolarHour(one.solar_hour, one.live_s, one.rate_per_h, one.rate_low_per_h, one.rate_high_per_h)
        for one in page.solar_hours
    ]
    echoes = sum(one.echoes for one in page.solar_hours)
    live_h = math.fsum(one.live_s for one in page.solar_hours) / 3600
    middle = numbers.fixed(echoes / live_h) if live_h > 0 else ""
    return solar_clock("echoes per hour of local solar time, all targets together", hours, middle, "per hour")


def _solar_hours(store: Store, longitude_deg: float) -> tuple[Together, ...]:
    span = store.span()
    if span is None:
        return ()
    edges = solar_hour_edges(*span, longitude_deg)
    return by_solar_hour(rates(store.channels(), store.coverage(), store.echoes(), edges, longitude_deg), ONE_SIGMA)
