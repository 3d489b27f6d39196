"""The page of satellite passes: one HTML file that needs nothing else."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

import skyglint
from skyglint.plan.reflection import Reflection
from skyglint.plan.satellite_passes import SatellitePass
from skyglint.report import numbers, tokens
from skyglint.report.figures.doppler_curve import doppler_curve
from skyglint.report.figures.sky_track import sky_track
from skyglint.report.page import environment
from skyglint.site import Site

#: Passes that are drawn; of the rest only the row in the table stands.
MOST_DRAWN = 40
HOPE_WORDS = {"yes": "should be found", "marginal": "at the limit", "none": "no hope"}


@dataclass(frozen=True, slots=True)
class PassesPage:
    """What the page shows: the passes at a site within a span, and the assumptions behind the reflections."""

    site: Site
    start_unix: float
    end_unix: float
    passes: tuple[SatellitePass, ...]
    beacon_hz: float
    cross_section_m2: float

    @property
    def warnings(self) -> list[str]:
        """What the age of the elements costs, each once."""
        return list(dict.fromkeys(one.warning for one in self.passes if one.warning))


def render_passes(page: PassesPage) -> str:
    """Return the page as HTML; every text that came from outside is escaped on its way in."""
    import skyglint.report.passes_page as views

    return (
        environment()
        .get_template("passes.html.jinja")
        .render(page=page, views=views, version=skyglint.__version__, tokens=Markup(tokens.css_variables()))
    )


def azimuths(one: SatellitePass) -> str:
    """Return the azimuths at rise, top and set."""
    azimuth = one.track.look.azimuth_deg
    return ", ".join(numbers.quantity(float(azimuth[k]) % 360, "°") for k in (0, _top(one), -1))


def light(one: SatellitePass) -> str:
    """Say whether the Sun shines on the satellite during the pass."""
    lit = one.track.sunlit
    return "sunlit" if lit.all() else "partly sunlit" if lit.any() else "in shadow"


def best_hope(one: SatellitePass) -> str:
    """Return the most hopeful verdict on the reflections in words; blank without any."""
    found = {each.hope for each in one.reflections}
    return next((words for hope, words in HOPE_WORDS.items() if hope in found), "")


def track_chart(one: SatellitePass) -> Markup:
    """Return the pass on the sky."""
    look, unix = one.track.look, one.track.unix
    label = (
        f"way of {one.elements.name} over the sky, up to {one.when.max_elevation_deg:.0f} degrees, {light(one)}; "
        f"azimuths {azimuths(one)}"
    )
    moments = [(k, numbers.clock(float(unix[k]), -1)) for k in dict.fromkeys((0, _top(one), len(unix) - 1))]
    return sky_track(label, look.azimuth_deg.tolist(), look.elevation_deg.tolist(), one.track.sunlit.tolist(), moments)


def curves(page: PassesPage, one: SatellitePass) -> list[tuple[str, str, Markup]]:
    """Return the Doppler curves that can be drawn: name, when it is seen, figure; first the beacon's."""
    unix = one.track.unix
    shifts = {f"own signal, {name}": shift for name, shift in one.track.beacon_doppler_hz.items()}
    shifts |= {f"reflection, {name}": shift for name, shift in one.track.bistatic_doppler_hz.items()}
    if math.isfinite(page.beacon_hz):
        shifts = {f"beacon, {numbers.frequency(page.beacon_hz)}": one.track.doppler_hz, **shifts}
    found = []
    for name, shift in shifts.items():
        seen = np.flatnonzero(np.isfinite(shift))
        if len(seen):
            when = f"{numbers.clock(float(unix[seen[0]]), 0)} to {numbers.clock(float(unix[seen[-1]]), 0)}"
            label = f"Doppler shift of the {name}, from {shift[seen[0]]:.0f} to {shift[seen[-1]]:.0f} hertz"
            found.append((name, when, doppler_curve(label, unix.tolist(), shift.tolist())))
    return found


def both_see(one: Reflection) -> str:
    """Return from when to when both ends see the satellite; blank if never."""
    if math.isnan(one.start_unix):
        return ""
    return f"{numbers.clock(one.start_unix, 0)} to {numbers.clock(one.end_unix, 0)}"


def verdict(one: Reflection) -> str:
    """Return the verdict without the channel's name before it."""
    words = one.sentence.removeprefix(f"{one.channel}: ")
    return words[:1].upper() + words[1:]


def drawn(page: PassesPage) -> Sequence[SatellitePass]:
    """Return the passes that get their own pictures."""
    return page.passes[:MOST_DRAWN]


def _top(one: SatellitePass) -> int:
    return int(np.argmin(np.abs(one.track.unix - one.when.culmination_unix)))
