"""Which night is which: a night runs from local mean solar noon to the next and is called by the evening's date.

Longitudes are rounded to 0.1 degree, as in the published rates: noon to the second would give the exact place away.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

from skyglint.activity.bins import night_edges
from skyglint.activity.coverage import intersection, livetime_s, union
from skyglint.errors import RequestError
from skyglint.site import SitePlace, parse_site
from skyglint.store.store import Store

_DAY_S = 86_400.0
#: Less coverage than one frame is none: it is what rounding leaves at the edge of a night.
_FRAME_S = 0.01


def night_span(evening: date, longitude_deg: float) -> tuple[float, float]:
    """Return the night of a date at a longitude, POSIX seconds.

    Examples
    --------
    >>> night_span(date(2026, 8, 12), 0.0) == (1786536000.0, 1786622400.0)
    True
    """
    noon = datetime(evening.year, evening.month, evening.day, 12, tzinfo=UTC).timestamp()
    start = noon - round(longitude_deg, 1) / 360.0 * _DAY_S
    return start, start + _DAY_S


def evening_of(unix: float, longitude_deg: float) -> date:
    """Return the date, by local mean solar time, of the evening on which a moment's night begins."""
    return datetime.fromtimestamp(unix - _DAY_S / 2.0 + round(longitude_deg, 1) / 360.0 * _DAY_S, UTC).date()


def place_of(store: Store) -> SitePlace:
    """Return the place of the one site that a database holds, as its last run declared it.

    Raises
    ------
    RequestError
        If there is none, or more than one.
    """
    runs = store.runs()
    names = sorted({run.site_name for run in runs})
    if not names:
        raise RequestError("the database holds no results yet: scan a recording into it first")
    if len(names) > 1:
        raise RequestError(f"the database holds several sites ({', '.join(names)}): choose one of them")
    return parse_site(runs[-1].site_file, "site file of the last run").site


def nights(store: Store) -> list[date]:
    """Return the nights of which the database knows something, oldest first."""
    span = store.span()
    if span is None:
        return []
    longitude_deg = round(place_of(store).longitude_deg, 1)
    known = union([(entry.start_unix, entry.end_unix) for entry in store.coverage()])
    edges = night_edges(*span, longitude_deg)
    return [
        evening_of((start + end) / 2.0, longitude_deg)
        for start, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
        if livetime_s(intersection(known, [(start, end)])) >= _FRAME_S
    ]


def choose_night(store: Store, wanted: date | None) -> date:
    """Return the wanted night, or without a wish the latest one.

    Raises
    ------
    RequestError
        If the database knows nothing of it; the message says which nights there are.
    """
    found = nights(store)
    if not found:
        raise RequestError("the database holds no night yet: scan a recording into it first")
    if wanted is None:
        return found[-1]
    if wanted not in found:
        several = f"{len(found)} nights from {found[0]} to {found[-1]}"
        raise RequestError(
            f"no night of {wanted}: the database holds {several if len(found) > 1 else f'only that of {found[0]}'}"
        )
    return wanted
