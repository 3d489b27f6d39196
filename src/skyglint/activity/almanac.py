"""What the showers offer a site: one day hour by hour, and the maxima of the coming year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.response import ChannelPath, channel_path, path_response
from skyglint.site import Channel, Site
from skyglint.sky.earth import azimuth_altitude_deg
from skyglint.sky.radiants import apparent_direction_ecef, radiant_direction_ecef
from skyglint.sky.showers import Shower, active_showers, load_showers
from skyglint.sky.sun import solar_longitude_deg, unix_at_solar_longitude

Array = NDArray[np.float64]

_DAY_S = 86_400.0

#: Mean time in which the Sun moves by a degree (sidereal year of 365.2564 days).
_DEGREE_S = 365.2564 * _DAY_S / 360.0

#: Hours in which a path sees a shower well: at least this share of the shower's own best hour there.
_GOOD_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class ShowerDay:
    """One shower at one site on one day, by whole UTC hours.

    Attributes
    ----------
    shower
        Its row of the table.
    active
        Whether the day lies in its window of activity (at 12 h UTC); a shower of a retired list is not active.
    right_ascension_deg, declination_deg
        Radiant at 0 h UTC, J2000; the hours below are of this radiant.
    maximum_unix
        The maximum nearest to the day; NaN for the antihelion source, which has none.
    azimuth_deg, altitude_deg
        At the site, shape (24,), geocentric: without the Earth's attraction and without refraction.
    response
        Of each channel with a known transmitter, shape (24,); 1 is the best hour of a reference radiant that passes
        through the zenith of the path's middle.
    """

    shower: Shower
    active: bool
    right_ascension_deg: float
    declination_deg: float
    maximum_unix: float
    azimuth_deg: Array
    altitude_deg: Array
    response: dict[str, Array]

    def good_hours(self, channel: str) -> list[int]:
        """Return the UTC hours in which a channel sees at least half of what it sees in the shower's best hour."""
        seen = self.response[channel]
        return [int(hour) for hour in np.flatnonzero((seen >= _GOOD_SHARE * seen.max()) & (seen > 0))]


@dataclass(frozen=True, slots=True)
class Maximum:
    """A shower's maximum in the coming year.

    Attributes
    ----------
    unix
        When the Sun reaches the longitude of the maximum.
    start_unix, end_unix
        Window of activity around it; NaN where none is published.
    day
        The shower on the UTC day of the maximum.
    """

    unix: float
    start_unix: float
    end_unix: float
    day: ShowerDay


def target_paths(site: Site) -> list[ChannelPath]:
    """Return the paths of the site's target channels whose transmitter's position is known."""
    return [channel_path(site, channel) for channel in site.channel if _known_target(channel)]


def shower_day(site: Site, midnight_unix: float) -> list[ShowerDay]:
    """Return every shower of the table at a site, on the UTC day that begins at ``midnight_unix``."""
    return _day(site, target_paths(site), midnight_unix, load_showers())


def showers_in(site: Site, paths: Sequence[ChannelPath], hours_unix: Array) -> list[ShowerDay]:
    """Return the showers that are active in the middle of a span, by the instants given, as on a day's hours."""
    table = active_showers(float(np.mean(hours_unix)))
    return _day(site, paths, float(hours_unix[0]), table, hours_unix)


def coming_maxima(site: Site, from_unix: float) -> list[Maximum]:
    """Return the maxima of all showers of the current lists in the year from an instant on, in order of time."""
    paths = target_paths(site)
    found = []
    for shower in load_showers():
        if shower.retired or np.isnan(shower.peak_solar_longitude_deg):
            continue
        ahead = (shower.peak_solar_longitude_deg - float(solar_longitude_deg(from_unix))) % 360.0
        unix = _maximum_unix(shower, from_unix + ahead * _DEGREE_S)
        (day,) = _day(site, paths, unix // _DAY_S * _DAY_S, [shower])
        found.append(Maximum(unix, *_window(shower, unix), day))
    return sorted(found, key=lambda maximum: maximum.unix)


def _known_target(channel: Channel) -> bool:
    return channel.role == "target" and channel.latitude_deg is not None


def _day(
    site: Site,
    paths: Sequence[ChannelPath],
    midnight_unix: float,
    table: Sequence[Shower],
    hours_unix: Array | None = None,
) -> list[ShowerDay]:
    hours = midnight_unix + 3600.0 * np.arange(24) if hours_unix is None else hours_unix
    midnight, active = solar_longitude_deg(midnight_unix), active_showers(midnight_unix + _DAY_S / 2)
    positions = np.array([shower.radiant_deg(midnight) for shower in table], dtype=np.float64).reshape(-1, 2)
    directions = radiant_direction_ecef(positions[:, :1], positions[:, 1:], hours)
    place = (site.site.latitude_deg, site.site.longitude_deg)
    azimuth, altitude = azimuth_altitude_deg(directions, *place)
    speeds = np.array([shower.speed_km_s for shower in table], dtype=np.float64)[:, None]
    # The Earth's attraction and turning differ by little along a path, so the site's own do for all of it; a shower of
    # unknown speed is left where it is.
    apparent = apparent_direction_ecef(directions, np.nan_to_num(speeds, nan=1e6), *place)
    responses = {path.channel.name: path_response(path, apparent, speeds) for path in paths}
    return [
        ShowerDay(
            shower,
            shower in active,
            float(positions[i, 0]),
            float(positions[i, 1]),
            _maximum_unix(shower, midnight_unix),
            azimuth[i],
            altitude[i],
            {name: response[i] for name, response in responses.items()},
        )
        for i, shower in enumerate(table)
    ]


def _maximum_unix(shower: Shower, near_unix: float) -> float:
    longitude = shower.peak_solar_longitude_deg
    return float("nan") if np.isnan(longitude) else unix_at_solar_longitude(longitude, near_unix)


def _window(shower: Shower, peak_unix: float) -> tuple[float, float]:
    if np.isnan(shower.activity_start_deg):
        return float("nan"), float("nan")
    # A window from whole days may begin a little after a maximum on its first day.
    before = (shower.peak_solar_longitude_deg - shower.activity_start_deg + 1.0) % 360.0 - 1.0
    after = (shower.activity_end_deg - shower.peak_solar_longitude_deg) % 360.0
    return (
        unix_at_solar_longitude(shower.activity_start_deg, peak_unix - before * _DEGREE_S),
        unix_at_solar_longitude(shower.activity_end_deg, peak_unix + after * _DEGREE_S),
    )
