"""Everything that a night page shows, as one plain record.

Times are POSIX seconds, NaN means "not measured". The place is already rounded here: the exact one never gets as far as
a page, and whatever is computed from a place (distances, bearings) is computed from the rounded one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.rates import Rate
from skyglint.echoes.echo import Snippet
from skyglint.report.study import NightStudy
from skyglint.report.together import Together
from skyglint.site import Channel
from skyglint.store.records import CoverageSpan, FloorHistory, Recording, Run, StoredEcho


@dataclass(frozen=True, slots=True)
class Lane:
    """One channel's night.

    Attributes
    ----------
    channel
        As the site file declares it.
    distance_km, bearing_deg
        From the rounded place to the transmitter; NaN where its place is unknown.
    power_db
        Power over the floor in even columns from ``NightPage.start_unix`` to ``end_unix``, shape (n,), dB.
    watched_s
        How long the channel was watched.
    lost
        Every span between the page's ends that was not watched, with its reason, in order of time; time that no
        recording covers is among them.
    floor
        The floor's history.
    bursts
        Echoes of any class.
    night, hours
        The rate over the whole night, and by hour of UTC: rows of the exported table ``rates``.
    """

    channel: Channel
    distance_km: float
    bearing_deg: float
    power_db: NDArray[np.float32]
    watched_s: float
    lost: tuple[CoverageSpan, ...]
    floor: FloorHistory
    bursts: int
    night: Rate
    hours: tuple[Rate, ...]


@dataclass(frozen=True, slots=True)
class NightPage:
    """A night at one site.

    Attributes
    ----------
    site_name
        As the site file has it.
    latitude_deg, longitude_deg
        Rounded to 0.1 degree.
    date
        The date on which the night's evening begins.
    start_unix, end_unix
        From the first to the last moment that the database knows of in this night.
    lanes
        Target channels first, guards last.
    echoes
        All bursts in order of time.
    best
        Those shown with their pictures.
    pictures
        Pictures of the best, by echo id; those without one are missing.
    sparks
        Short power traces by echo id, dB.
    all_targets, solar_hours
        Rate of all target channels together: over the night, and by hour of local apparent solar time.
    study
        What rates and echoes say beyond their number.
    confidence
        Probability content of all intervals, 0 to 1.
    runs, recordings
        Where the numbers come from.
    version
        Version of Skyglint that made the page.
    """

    site_name: str
    latitude_deg: float
    longitude_deg: float
    date: date
    start_unix: float
    end_unix: float
    lanes: tuple[Lane, ...]
    echoes: tuple[StoredEcho, ...]
    best: tuple[StoredEcho, ...]
    pictures: dict[int, Snippet]
    sparks: dict[int, NDArray[np.float32]]
    all_targets: Together
    solar_hours: tuple[Together, ...]
    study: NightStudy
    confidence: float
    runs: tuple[Run, ...]
    recordings: tuple[Recording, ...]
    version: str
