"""When the station watches: always, or every night from one solar hour to another."""

from __future__ import annotations

import math

from skyglint.sky.sun import local_apparent_solar_hour


def hours_until(unix: float, solar_hour: float, longitude_deg: float) -> float:
    """Return the hours from an instant until the local apparent solar time next reads ``solar_hour``, 0 to 24."""
    now = float(local_apparent_solar_hour(unix, longitude_deg))
    return (solar_hour - now) % 24.0


def is_open(unix: float, hours: tuple[float, float] | None, longitude_deg: float) -> bool:
    """Tell whether the station watches at an instant.

    Parameters
    ----------
    unix
        POSIX seconds.
    hours
        Local apparent solar hours from and to, the end excluded; the span may cross midnight. ``None`` means always.
    longitude_deg
        Of the site.
    """
    if hours is None:
        return True
    return hours_until(unix, hours[1], longitude_deg) <= (hours[1] - hours[0]) % 24.0 or hours[0] == hours[1]


def next_change_unix(unix: float, hours: tuple[float, float] | None, longitude_deg: float) -> float:
    """Return when the station next opens or closes; infinity when it always watches."""
    if hours is None or hours[0] == hours[1]:
        return math.inf
    edge = hours[1] if is_open(unix, hours, longitude_deg) else hours[0]
    # A minute's margin: the equation of time drifts by half a minute a day, and an edge must not be found twice.
    wait_h = hours_until(unix, edge, longitude_deg)
    return unix + 3600.0 * (wait_h if wait_h > 0 else 24.0)
