"""The plan: survey all, rank all roughly, work out the best in full."""

from __future__ import annotations

from dataclasses import dataclass, replace

from skyglint.path.diffuse import SiteLayer
from skyglint.plan.candidate import Candidate
from skyglint.plan.ground import survey_ground
from skyglint.plan.judging import judge
from skyglint.plan.ranking import rough_order
from skyglint.plan.reasons import reasons
from skyglint.plan.settings import PlanSettings
from skyglint.plan.survey import Survey
from skyglint.site import Site
from skyglint.transmitters.raster import Raster
from skyglint.transmitters.transmitter import Transmitter


@dataclass(frozen=True, slots=True)
class Plan:
    """What the planner found.

    Attributes
    ----------
    candidates
        Ranked, the best first.
    survey
        Every transmitter within reach, for guards, references and the map.
    layer
        The layer above the site.
    raster
        The channels of the region.
    """

    site: Site
    settings: PlanSettings
    candidates: tuple[Candidate, ...]
    survey: Survey
    layer: SiteLayer
    raster: Raster


def make_plan(site: Site, transmitters: list[Transmitter], settings: PlanSettings) -> Plan:
    """Rank the transmitters for a site.

    Parameters
    ----------
    transmitters
        From the lists, duplicates merged; only those that are on the air count.

    Returns
    -------
    Plan
        With at most ``settings.best`` candidates, none if nothing is within reach.
    """
    ground = survey_ground(site, transmitters, settings)
    order = rough_order(ground)
    found = [judge(ground, int(index)) for index in order[: settings.best]]
    ranked = sorted(found, key=lambda one: (-one.score, one.distance_km))
    explained = tuple(replace(one, reasons=reasons(one)) for one in ranked)
    return Plan(site, settings, explained, ground.survey, ground.layer, ground.raster)
