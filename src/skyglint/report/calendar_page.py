"""The showers of the coming year at a site: when each has its maximum, and at which hours which path sees it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from markupsafe import Markup

import skyglint
from skyglint.activity.almanac import Maximum
from skyglint.report import numbers, tokens
from skyglint.report.figures.hour_field import hour_field
from skyglint.report.figures.year_bands import Band, year_bands
from skyglint.report.page import environment
from skyglint.utc import format_utc

WIDE_PX, NARROW_PX = 1000.0, 340.0
#: Least visual rate at the maximum of a shower that stands open on the page.
_LEAST_ZHR = 3.0
_YEAR_S = 365.2564 * 86_400.0


@dataclass(frozen=True, slots=True)
class CalendarPage:
    """What the page shows.

    Attributes
    ----------
    site_name
        As the site file has it; where it is stands nowhere.
    start_unix
        From when the year runs.
    maxima
        In order of time.
    """

    site_name: str
    start_unix: float
    maxima: tuple[Maximum, ...]

    @property
    def main(self) -> list[Maximum]:
        """Those of a published visual rate that is worth a look; all where there is none such."""
        return [maximum for maximum in self.maxima if rate(maximum) >= _LEAST_ZHR] or list(self.maxima)

    @property
    def lesser(self) -> list[Maximum]:
        """The others."""
        main = {maximum.day.shower.iau_code for maximum in self.main}
        return [maximum for maximum in self.maxima if maximum.day.shower.iau_code not in main]


def render_calendar(page: CalendarPage) -> str:
    """Return the page as HTML; every text that came from outside is escaped on its way in."""
    import skyglint.report.calendar_page as views

    template = environment().get_template("calendar.html.jinja")
    return template.render(
        page=page, calendar=views, tokens=Markup(tokens.css_variables()), version=skyglint.__version__
    )


def day_of(unix: float) -> str:
    """Return the UTC date."""
    return format_utc(unix, 0)[:10]


def year_figure(page: CalendarPage, width: float = WIDE_PX) -> Markup:
    """Return the year with a band for every shower; on a narrow screen for the main ones."""
    shown = page.maxima if width > 500.0 else page.main
    strongest = max((rate(maximum) for maximum in page.maxima), default=1.0)
    bands = [
        Band(
            maximum.day.shower.iau_code,
            f"{maximum.day.shower.name}: maximum {day_of(maximum.unix)}{_active(maximum, ', active ')}",
            (maximum.start_unix - page.start_unix) / _YEAR_S,
            (maximum.end_unix - page.start_unix) / _YEAR_S,
            (maximum.unix - page.start_unix) / _YEAR_S,
            math.sqrt(rate(maximum) / strongest),
        )
        for maximum in shown
    ]
    label = f"Windows of activity and maxima of {len(bands)} showers in the year from {day_of(page.start_unix)} on"
    months = _months(page.start_unix)
    return year_bands(label, bands, months if width > 500.0 else months[::3], width)


def rate(maximum: Maximum) -> float:
    """Return the visual rate at the maximum, 0 where none is given."""
    return float(np.nan_to_num(maximum.day.shower.zhr_max))


def facts(maximum: Maximum) -> str:
    """Return the shower's rate, speed, radiant and window in words."""
    shower, day = maximum.day.shower, maximum.day
    declination = f"{day.declination_deg:+.0f}°".replace("-", "−")
    told = [] if math.isnan(shower.zhr_max) else [f"ZHR {numbers.fixed(shower.zhr_max)}"]
    told += [] if math.isnan(shower.speed_km_s) else [numbers.quantity(shower.speed_km_s, "km/s")]
    told.append(f"radiant {numbers.fixed(day.right_ascension_deg)}° {declination}")
    told.append(f"solar longitude {shower.peak_solar_longitude_deg:g}°")
    return ", ".join(told) + _active(maximum, "; active ") + "."


def hours_figure(maximum: Maximum) -> Markup:
    """Return altitude and responses by hour of the day of the maximum."""
    day = maximum.day
    rows = [("altitude / 90°", np.maximum(day.altitude_deg, 0.0) / 90.0), *day.response.items()]
    label = f"{day.shower.name} on {day_of(maximum.unix)} by UTC hour: {'; '.join(seen(maximum))}"
    return hour_field(label, rows)


def seen(maximum: Maximum) -> list[str]:
    """Return how high the radiant rises, and when each path sees it well or that it does not."""
    day = maximum.day
    best = int(np.argmax(day.altitude_deg))
    high = day.altitude_deg[best]
    told = [f"highest {numbers.quantity(float(high), '°')} at {best} h" if high > 0 else "never rises"]
    for name in day.response:
        hours = day.good_hours(name)
        told.append(f"{name} sees it best at {hour_spans(hours)} h" if hours else f"{name} does not see it")
    return told


def seen_sentence(maximum: Maximum) -> str:
    """Return that as one sentence."""
    text = "; ".join(seen(maximum))
    return f"{text[0].upper()}{text[1:]}."


def hour_spans(hours: Sequence[int]) -> str:
    """Return hours as spans.

    Examples
    --------
    >>> hour_spans([0, 1, 2, 3, 7, 21, 22, 23])
    '0-3, 7, 21-23'
    """
    groups: list[list[int]] = []
    for hour in hours:
        if groups and hour == groups[-1][-1] + 1:
            groups[-1].append(hour)
        else:
            groups.append([hour])
    return ", ".join(f"{group[0]}" if len(group) == 1 else f"{group[0]}-{group[-1]}" for group in groups)


def _active(maximum: Maximum, before: str) -> str:
    if math.isnan(maximum.start_unix):
        return ""
    return f"{before}{day_of(maximum.start_unix)} to {day_of(maximum.end_unix)}"


def _months(start_unix: float) -> list[tuple[float, str]]:
    """Return the starts of the months in the year from an instant on, as shares of it, with their names."""
    first = datetime.fromtimestamp(start_unix, UTC)
    starts = [
        datetime(first.year + (first.month - 1 + k) // 12, (first.month - 1 + k) % 12 + 1, 1, tzinfo=UTC)
        for k in range(13)
    ]
    shares = [((start.timestamp() - start_unix) / _YEAR_S, start.strftime("%b")) for start in starts]
    return [(share, name) for share, name in shares if 0.0 <= share < 0.985]
