"""The lanes of a night page: each channel with its strip, its floor, what it lost and its rates."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from skyglint.activity.coverage import Segments, difference, intersection, livetime_s, segments_of, union
from skyglint.activity.rates import read_rates
from skyglint.path.geodesy import geodesic
from skyglint.report.night import Lane
from skyglint.report.thinning import thinned
from skyglint.site import Channel, Role, SitePlace
from skyglint.store.records import CoverageSpan, FloorHistory, StoredEcho
from skyglint.store.store import Store

#: Columns of a strip and readings of a floor: what a page can show.
COLUMNS = 1200
FLOOR_READINGS = 400
#: What is said of time that no recording covers.
NOT_RECORDED = "not recorded"
#: A hole shorter than this is no loss: it is what rounding leaves between recordings that follow each other.
LEAST_LOSS_S = 0.001

_ORDER: tuple[Role, ...] = ("target", "reference", "guard")


def channels_of(store: Store, coverage: Sequence[CoverageSpan]) -> list[Channel]:
    """Return the channels of which the coverage speaks: targets first, guards last."""
    named = {entry.channel for entry in coverage}
    known = [channel for channel in store.channels() if channel.name in named]
    return sorted(known, key=lambda channel: _ORDER.index(channel.role))


def gather_lanes(
    store: Store,
    place: SitePlace,
    channels: Sequence[Channel],
    coverage: Sequence[CoverageSpan],
    echoes: Sequence[StoredEcho],
    span: tuple[float, float],
) -> tuple[Lane, ...]:
    """Return the lanes of the channels over a span of one night, in the order given."""
    strips = {strip.channel: strip.power_db for strip in store.strips(*span, readings=COLUMNS)}
    floors = {floor.channel: floor for floor in store.floors(*span)}
    hours = read_rates(store, "hour", *span)
    night = {row.channel: row for row in read_rates(store, "night", *span)}
    lanes = []
    for channel in channels:
        distance_km, bearing_deg = way_to(place, channel)
        watched = intersection(segments_of(coverage, channel.name), [span])
        lanes.append(
            Lane(
                channel=channel,
                distance_km=distance_km,
                bearing_deg=bearing_deg,
                power_db=strips.get(channel.name, np.empty(0, dtype=np.float32)),
                watched_s=livetime_s(watched),
                lost=tuple(lost_spans(channel.name, coverage, watched, span)),
                floor=_thin_floor(floors[channel.name]),
                bursts=sum(entry.echo.channel == channel.name for entry in echoes),
                night=night[channel.name],
                hours=tuple(row for row in hours if row.channel == channel.name),
            )
        )
    return tuple(lanes)


def way_to(place: SitePlace, channel: Channel) -> tuple[float, float]:
    """Return distance in kilometres and bearing from the rounded place; NaN where the transmitter's is unknown.

    From the exact place, the distances to two public transmitters would give the home away.
    """
    if channel.latitude_deg is None or channel.longitude_deg is None:
        return math.nan, math.nan
    rounded = round(place.latitude_deg, 1), round(place.longitude_deg, 1)
    line = geodesic(*rounded, channel.latitude_deg, channel.longitude_deg)
    return float(line.distance_m) / 1000.0, float(line.azimuth_deg)


def lost_spans(
    channel: str, coverage: Sequence[CoverageSpan], watched: Segments, span: tuple[float, float]
) -> list[CoverageSpan]:
    """Return what was not watched within the span, each moment once, with the first reason that is given for it."""
    left = difference([span], watched)
    found: list[CoverageSpan] = []
    own = [entry for entry in coverage if entry.channel == channel and entry.state == "lost"]
    for reason in dict.fromkeys(entry.reason for entry in own):
        claimed = union([(entry.start_unix, entry.end_unix) for entry in own if entry.reason == reason])
        found += _spans(channel, intersection(left, claimed), reason)
        left = difference(left, claimed)
    found += _spans(channel, left, NOT_RECORDED)
    return sorted(found, key=lambda entry: entry.start_unix)


def _spans(channel: str, segments: Segments, reason: str) -> list[CoverageSpan]:
    return [
        CoverageSpan(channel, float(start), float(end), "lost", reason)
        for start, end in segments
        if end - start > LEAST_LOSS_S
    ]


def _thin_floor(floor: FloorHistory) -> FloorHistory:
    # Recordings that overlap or came in any order still make one history in order of time.
    order = np.argsort(floor.time_unix, kind="stable")
    levels, size = thinned(floor.floor_db[order], FLOOR_READINGS, np.nanmedian)
    return FloorHistory(floor.channel, floor.time_unix[order][::size], levels)
