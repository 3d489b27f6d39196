"""From the database to the night page's record."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

import skyglint
from skyglint.activity.bins import solar_hour_edges
from skyglint.activity.coverage import intersection, union
from skyglint.activity.poisson import ONE_SIGMA
from skyglint.activity.rates import distinct, rates
from skyglint.report.best import choose_best
from skyglint.report.lanes import channels_of, gather_lanes
from skyglint.report.night import NightPage
from skyglint.report.nights import choose_night, night_span, place_of
from skyglint.report.study import study_night
from skyglint.report.thinning import thinned
from skyglint.report.together import by_solar_hour, together
from skyglint.store.records import StoredEcho
from skyglint.store.store import Store

#: Echoes with pictures; echoes with sparks, and the readings of one.
BEST = 8
SPARKS = 40
SPARK_READINGS = 60
#: An echo that began this long before a span may still hide a part of it.
_EARLIER_S = 3600.0


def gather_night(store: Store, wanted: date | None = None) -> NightPage:
    """Gather everything that the page of one night shows; without a date, of the latest night.

    Raises
    ------
    RequestError
        If the database knows nothing of that night, or holds several sites.
    """
    place = place_of(store)
    evening = choose_night(store, wanted)
    longitude_deg = round(place.longitude_deg, 1)
    night = night_span(evening, longitude_deg)
    coverage = store.coverage(*night)
    known = intersection(union([(entry.start_unix, entry.end_unix) for entry in coverage]), [night])
    span = float(known[0, 0]), float(known[-1, 1])
    channels = channels_of(store, coverage)
    echoes = tuple(distinct(store.echoes(*span)))
    lanes = gather_lanes(store, place, channels, coverage, echoes, span)
    targets = {channel.name for channel in channels if channel.role == "target"}
    carriers = {channel.name for channel in channels if channel.kind == "carrier"}
    best = choose_best([e for e in echoes if e.meteoric and e.echo.channel in targets], carriers, BEST)
    pictures = {entry.id: store.snippet(entry.id) for entry in best}
    # The outer hours end with the night: what was watched beyond it has its echoes in another night.
    edges = np.unique(np.clip(solar_hour_edges(*span, longitude_deg), *span))
    solar = rates(channels, coverage, store.echoes(span[0] - _EARLIER_S, span[1]), edges, longitude_deg)
    by_hour = by_solar_hour(solar, ONE_SIGMA)
    site_file = store.runs()[-1].site_file
    recordings = store.recordings(*span)
    runs = {recording.run_id for recording in recordings}
    return NightPage(
        site_name=place.name,
        latitude_deg=round(place.latitude_deg, 1),
        longitude_deg=longitude_deg,
        date=evening,
        start_unix=span[0],
        end_unix=span[1],
        lanes=lanes,
        echoes=echoes,
        best=best,
        pictures={number: picture for number, picture in pictures.items() if picture is not None},
        sparks=_sparks(store, echoes[:SPARKS]),
        all_targets=together([lane.night for lane in lanes], ONE_SIGMA),
        solar_hours=by_hour,
        study=study_night(site_file, channels, coverage, by_hour, echoes, span),
        confidence=ONE_SIGMA,
        runs=tuple(run for run in store.runs() if run.id in runs),
        recordings=tuple(recordings),
        version=skyglint.__version__,
    )


def _sparks(store: Store, echoes: Sequence[StoredEcho]) -> dict[int, NDArray[np.float32]]:
    pictures = {entry.id: store.snippet(entry.id) for entry in echoes}
    return {
        number: thinned(picture.power_db, SPARK_READINGS, np.nanmax)[0]
        for number, picture in pictures.items()
        if picture is not None and len(picture.power_db)
    }
