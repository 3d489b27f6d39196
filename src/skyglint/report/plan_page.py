"""The page of a plan: one HTML file that needs nothing else."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from skyglint.path.horizon import bulge_m
from skyglint.plan import notes
from skyglint.plan.aiming import layer_gain_dbi
from skyglint.plan.candidate import Candidate
from skyglint.plan.planning import Plan
from skyglint.plan.proposal import Proposal
from skyglint.plan.rows import RowMember, best_row_bearing, row
from skyglint.report import numbers, tokens
from skyglint.report.figures.hour_lane import hour_lane, month_field
from skyglint.report.figures.hours import nice_step
from skyglint.report.figures.path_map import Kind, Mark, Shade, path_map
from skyglint.report.figures.path_section import path_section
from skyglint.report.figures.rulers import Stretch, row_ruler

#: Candidates that stand open; the rest wait behind a fold.
FIRST_CANDIDATES = 12
#: Cells of the layer with less than this part of the densest are left white.
_FAINTEST = 0.04
_MAP_MARGIN = 1.08


@dataclass(frozen=True, slots=True)
class PlanPage:
    """What the page shows.

    Attributes
    ----------
    plan, proposal
        From the planner; no proposal when nothing useful is in reach.
    blocks
        The proposal as ``[[channel]]`` tables, ready to copy.
    lists
        Where the transmitters came from, with date and what was left out, one sentence each.
    row_bearing_deg
        Bearing of the row that is shown, None for the richest.
    """

    plan: Plan
    proposal: Proposal | None
    blocks: str
    lists: tuple[str, ...]
    row_bearing_deg: float | None = None

    @property
    def top_per_h(self) -> float:
        """The rate that the top of every lane stands for."""
        return 1.05 * max((float(one.echoes_per_h.max()) for one in self.plan.candidates), default=1.0) or 1.0

    @property
    def step_per_h(self) -> float:
        """The distance between the lanes' rules."""
        return nice_step(self.top_per_h, 3)


def render_plan(page: PlanPage) -> str:
    """Return the page as HTML; every text that came from a list or a site file is escaped on its way in."""
    template = environment().get_template("plan.html.jinja")
    return template.render(page=page, plan=page.plan, tokens=Markup(tokens.css_variables()))


def environment() -> Environment:
    """Return the templates' surroundings: this module's functions as ``views``."""
    import skyglint.report.plan_page as views

    surroundings = Environment(
        loader=PackageLoader("skyglint.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    surroundings.globals.update(numbers=numbers, views=views, notes=notes)
    return surroundings


def summary(page: PlanPage) -> str:
    """Return what was found, in a sentence or two."""
    reached = numbers.counted(len(page.plan.survey.transmitters), "transmitter", "transmitters")
    found = numbers.counted(len(page.plan.candidates), "candidate", "candidates")
    radius = numbers.quantity(page.plan.settings.radius_km, "km")
    text = f"{reached.capitalize()} on the air within reach of the layer, {found} within {radius} worked out in full."
    if page.proposal is None:
        return f"{text} None of them offers an echo a day that is surely its own."
    set_ = page.proposal
    rate = numbers.fixed(set_.echoes_per_h)
    return (
        f"{text} Point the antenna to {set_.aim.azimuth_deg:.0f}°, {set_.aim.elevation_deg:.0f}° up, and tune to "
        f"{numbers.frequency(set_.center_frequency_hz)}: about {rate} echoes an hour from the targets together, as the "
        "mean of day and year."
    )


def hour_words(plan: Plan) -> str:
    """Say what the lanes show."""
    months = "the mean of the year"
    if plan.settings.month is not None:
        from skyglint.report.figures.hour_lane import MONTHS

        months = f"in {MONTHS[plan.settings.month - 1]}"
    return f"Echoes an hour expected at each local solar hour, {months}. One scale for all lanes."


def lane(page: PlanPage, one: Candidate) -> Markup:
    """Return a candidate's hours."""
    label = f"expected echoes by local solar hour, {one.name}"
    return hour_lane(label, [float(rate) for rate in one.echoes_per_h], page.top_per_h, page.step_per_h)


def months(one: Candidate) -> Markup:
    """Return a candidate's hours by month."""
    label = f"expected echoes by month and local solar hour, {one.name}"
    return month_field(label, [[float(rate) for rate in month] for month in one.by_month])


def section(page: PlanPage, one: Candidate) -> Markup:
    """Return a candidate's cross-section."""
    place, antenna = page.plan.site.site, page.plan.site.antenna
    below = page.plan.settings.surface_height_m
    return path_section(
        f"cross-section of the path from {one.name}, {one.distance_km:.0f} km, to scale",
        one.distance_km,
        (place.height_m + antenna.height_above_ground_m - below) / 1e3,
        (one.height_m - below) / 1e3,
        one.layer.elevation_low_deg,
        one.layer.elevation_high_deg,
    )


def section_words(one: Candidate) -> str:
    """Say what a cross-section shows."""
    half_m = 500 * one.distance_km
    sag = float(bulge_m(half_m, half_m)) / 1e3
    depth = f"The straight line between the ends runs {numbers.quantity(sag, 'km', 1)} under the ground at the middle."
    if one.hidden_geometric_m > 0:
        hidden = numbers.quantity(one.hidden_geometric_m / 1e3, "km", 1)
        radio = numbers.quantity(one.hidden_m / 1e3, "km", 1)
        seen = (
            f"The transmitter's top is {hidden} below the sight line over the horizon, {radio} for radio (4/3 Earth)."
        )
    else:
        seen = "The transmitter's top stands above the horizon."
    return f"To scale, straight rays. {depth} {seen}"


def path_map_figure(page: PlanPage) -> Markup:
    """Return the map of the plan."""
    plan, place = page.plan, page.plan.site.site
    marks = _marks(page)
    farthest = max((mark.distance_km for mark in marks), default=500.0)
    reach = min(max(_MAP_MARGIN * farthest, 400.0), 2200.0)
    return path_map(
        f"map around {place.name} with the paths of the proposed set",
        place.latitude_deg,
        place.longitude_deg,
        reach,
        marks,
        _shades(page, plan),
    )


def _marks(page: PlanPage) -> list[Mark]:
    plan, set_ = page.plan, page.proposal
    chosen: dict[int, Kind] = {}
    if set_ is not None:
        for channel in set_.channels:
            if channel.transmitter is not None and channel.part != "guard":
                chosen[id(channel.transmitter)] = channel.part
    marks = []
    for k, station in enumerate(plan.survey.transmitters):
        kind = chosen.get(id(station))
        if kind is not None:
            marks.append(
                _mark(kind, station.name, station.frequency_hz, plan.survey.distance_m[k], plan.survey.azimuth_deg[k])
            )
    rivals = {
        (round(other.distance_km, 1), round(other.bearing_deg, 1)): f"{other.name}, beside {candidate.name}"
        for candidate in plan.candidates
        if chosen.get(id(candidate.transmitter)) in {"target", "control"}
        for other in candidate.neighbours
        if abs(other.offset_hz) < 150e3
    }
    taken = {(mark.distance_km, mark.bearing_deg) for mark in marks}
    marks += [Mark("neighbour", *place, "", title) for place, title in rivals.items() if place not in taken]
    for one in plan.candidates:
        mark = _mark("candidate", one.name, one.frequency_hz, 1e3 * one.distance_km, one.bearing_deg, named=False)
        if id(one.transmitter) not in chosen and (mark.distance_km, mark.bearing_deg) not in rivals:
            marks.append(mark)
    return marks


def _mark(
    kind: Kind, name: str, frequency_hz: float, distance_m: float, bearing_deg: float, *, named: bool = True
) -> Mark:
    kilometres, bearing = round(float(distance_m) / 1e3, 1), round(float(bearing_deg), 1)
    title = f"{name}, {frequency_hz / 1e6:g} MHz, {kilometres:.0f} km at {bearing:.0f}°"
    return Mark(kind, kilometres, bearing, name if named else "", title)


def _shades(page: PlanPage, plan: Plan) -> list[Shade]:
    """Return where over the ground the echoes of the targets come from, with the antenna aimed."""
    set_ = page.proposal
    if set_ is None:
        return []
    density = np.zeros(plan.layer.range_m.size)
    targets = {id(channel.transmitter) for channel in set_.channels if channel.part == "target"}
    for one in plan.candidates:
        if id(one.transmitter) in targets:
            gain = layer_gain_dbi(plan.layer, plan.site.antenna, one.frequency_hz, set_.aim)
            density[one.path.cell] += one.path.at(gain)
    density /= plan.layer.area_m2
    most = float(density.max()) or 1.0
    rings = np.unique(plan.layer.distance_m.round(1))
    half_km = float(rings[1] - rings[0]) / 2e3
    half_deg = 180.0 / (plan.layer.distance_m.size / rings.size)
    shades = []
    for k in np.flatnonzero(density >= _FAINTEST * most):
        middle, azimuth = float(plan.layer.distance_m[k]) / 1e3, float(plan.layer.azimuth_deg[k])
        part = float(density[k]) / most
        shades.append(Shade(middle - half_km, middle + half_km, azimuth - half_deg, azimuth + half_deg, part))
    return shades


def row_members(page: PlanPage) -> tuple[float, Sequence[RowMember]]:
    """Return the bearing of the row and its members."""
    bearing = page.row_bearing_deg
    if bearing is None:
        bearing = best_row_bearing(page.plan.candidates)
    return bearing, row(page.plan, bearing)


def row_figure(bearing_deg: float, members: Sequence[RowMember]) -> Markup:
    """Return a row's stretches."""
    stretches = [Stretch(member.candidate.name, member.near_km, member.far_km) for member in members]
    return row_ruler(f"stretches of the layer along the bearing {bearing_deg:.0f} degrees", stretches)


def gap_words(member: RowMember) -> str:
    """Say how a member's stretch stands to the one before it."""
    if math.isnan(member.gap_km):
        return "nearest"
    if member.gap_km >= 0:
        return f"{numbers.quantity(member.gap_km, 'km')} gap"
    return f"overlaps by {numbers.quantity(-member.gap_km, 'km')}"


def directions(one: Candidate) -> str:
    """Return the azimuths and elevations that eight tenths of the echoes come from, blank where there are none."""
    part = one.layer
    if math.isnan(part.azimuth_low_deg):
        return ""
    low, high = ((one.bearing_deg + offset) % 360 for offset in (part.azimuth_low_deg, part.azimuth_high_deg))
    return f"{low:.0f}° to {high:.0f}°, {part.elevation_low_deg:.0f}° to {part.elevation_high_deg:.0f}° up"


def few(count: float) -> str:
    """Return a count with the digits that a model good to a factor of three deserves."""
    if count >= 9.5:
        return f"{count:.0f}"
    return f"{count:.1f}" if count >= 0.05 else "0"


def level(value: float) -> str:
    """Return decibels without decimals, blank where there are none."""
    return numbers.quantity(value, "dB")
