"""Everything that the live page shows, as one plain record: the night so far."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.bins import solar_hour_edges
from skyglint.activity.poisson import ONE_SIGMA
from skyglint.activity.rates import distinct, rates
from skyglint.report.gather import SPARK_READINGS
from skyglint.report.lanes import way_to
from skyglint.report.nights import evening_of, night_span
from skyglint.report.thinning import thinned
from skyglint.report.together import Together, by_solar_hour, together
from skyglint.site import Channel
from skyglint.sky.sun import local_apparent_solar_hour
from skyglint.store import Store, StoredEcho
from skyglint.web.archive import NothingYet
from skyglint.web.context import Context
from skyglint.web.recent import SPAN_S

#: Rows of the table of the last echoes, and columns of a lane without the live script.
LAST = 12
COLUMNS = 1200
#: An echo that began this long before the night may still hide a part of it.
_EARLIER_S = 3600.0


@dataclass(frozen=True, slots=True)
class LiveLane:
    """One channel tonight.

    Attributes
    ----------
    channel
        As the site file declares it.
    distance_km, bearing_deg
        From the rounded place to the transmitter; NaN where its place is unknown.
    count
        Echoes that count as meteors in a target channel, every burst elsewhere.
    power_db
        Power over the floor of the last minutes in even columns, dB; NaN where nothing was heard.
    """

    channel: Channel
    distance_km: float
    bearing_deg: float
    count: int
    power_db: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Tonight:
    """The night so far.

    Attributes
    ----------
    now_unix
        The time at the right edge of the lanes.
    evening
        The date on which the night began.
    solar_hour
        Local apparent solar time now, at the place as the pages may show it: a hand to the second tells a longitude.
    lanes
        Target channels first, guards last.
    recent
        Echoes of the last minutes, for the lanes.
    last
        The last echoes of the night, newest first.
    sparks
        Short power traces by echo id, dB.
    all_targets, solar_hours
        Rate of all target channels together: over the night, and by hour of local apparent solar time.
    """

    now_unix: float
    evening: date
    solar_hour: float
    lanes: tuple[LiveLane, ...]
    recent: tuple[StoredEcho, ...]
    last: tuple[StoredEcho, ...]
    sparks: dict[int, NDArray[np.float32]]
    all_targets: Together
    solar_hours: tuple[Together, ...]

    @property
    def start_unix(self) -> float:
        """The time at the left edge of the lanes."""
        return self.now_unix - SPAN_S


def gather_tonight(context: Context) -> Tonight:
    """Gather the night so far; where there is no database yet, a night in which nothing has been heard.

    Raises
    ------
    StoreError
        If the database is there and cannot be read.
    """
    now = context.now()
    try:
        with context.archive.reading() as store:
            return _gather(context, now, store)
    except NothingYet:
        return _gather(context, now, None)


def _gather(context: Context, now: float, store: Store | None) -> Tonight:
    place = context.site.site
    evening = evening_of(now, place.longitude_deg)
    start, end = night_span(evening, place.longitude_deg)
    earlier = store.echoes(start - _EARLIER_S, end) if store else []
    echoes = [entry for entry in distinct(earlier) if entry.echo.start_unix >= start]
    coverage = store.coverage(start, end) if store else []
    channels = context.channels
    edges = solar_hour_edges(start, max(now, start + 1.0), place.longitude_deg)
    hours = rates(channels, coverage, earlier, edges, place.longitude_deg)
    whole = rates(channels, coverage, earlier, [start, end], place.longitude_deg)
    columns = context.recent.columns(COLUMNS)
    last = tuple(reversed(echoes[-LAST:]))
    return Tonight(
        now_unix=now,
        evening=evening,
        solar_hour=float(local_apparent_solar_hour(now, context.shown_place[1])),
        lanes=tuple(_lane(context, channel, echoes, columns[channel.name]) for channel in channels),
        recent=tuple(entry for entry in echoes if entry.echo.end_unix > now - SPAN_S),
        last=last,
        sparks=_sparks(store, last) if store else {},
        all_targets=together(whole, ONE_SIGMA),
        solar_hours=by_solar_hour(hours, ONE_SIGMA),
    )


def _lane(context: Context, channel: Channel, echoes: list[StoredEcho], power_db: NDArray[np.float32]) -> LiveLane:
    own = [entry for entry in echoes if entry.echo.channel == channel.name]
    count = sum(entry.meteoric for entry in own) if channel.role == "target" else len(own)
    return LiveLane(channel, *way_to(context.site.site, channel), count, power_db)


def _sparks(store: Store, entries: tuple[StoredEcho, ...]) -> dict[int, NDArray[np.float32]]:
    pictures = {entry.id: store.snippet(entry.id) for entry in entries}
    return {
        number: thinned(picture.power_db, SPARK_READINGS, np.nanmax)[0]
        for number, picture in pictures.items()
        if picture is not None and len(picture.power_db)
    }
