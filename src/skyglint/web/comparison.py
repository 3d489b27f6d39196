"""The channels of one night beside each other: rates, scales, and what they saw together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from skyglint.activity.coincidences import Coincidences, coincidences
from skyglint.activity.coverage import intersection, segments_of
from skyglint.activity.scales import Scales, channel_scales
from skyglint.report.night import Lane, NightPage
from skyglint.report.wording import targets
from skyglint.store import Store, StoredEcho

#: Starts this close belong together: a meteor's echoes on two paths begin within a fraction of a second of each other.
WINDOW_S = 0.5


@dataclass(frozen=True, slots=True)
class Pair:
    """Two channels and the echoes that they share."""

    first: str
    second: str
    shared: Coincidences


@dataclass(frozen=True, slots=True)
class Comparison:
    """The channels of a night.

    Attributes
    ----------
    classes
        Bursts by class for every channel by name.
    scales
        What each target gets for one echo of the first; None with fewer than two targets.
    pairs
        Every two target channels.
    """

    classes: dict[str, Counter[str]]
    scales: Scales | None
    pairs: tuple[Pair, ...]


def compare(store: Store, page: NightPage) -> Comparison:
    """Return the comparison of a night's channels."""
    classes = {lane.channel.name: Counter[str]() for lane in page.lanes}
    for entry in page.echoes:
        classes[entry.echo.channel][entry.echo_class] += 1
    lanes = targets(page)
    coverage = store.coverage(page.start_unix, page.end_unix)
    starts = {
        lane.channel.name: np.array([e.echo.start_unix for e in page.echoes if _counts(e, lane)]) for lane in lanes
    }
    pairs = []
    for one, other in combinations([lane.channel.name for lane in lanes], 2):
        both = intersection(segments_of(coverage, one), segments_of(coverage, other))
        pairs.append(Pair(one, other, coincidences(starts[one], starts[other], both, WINDOW_S)))
    return Comparison(classes, _scales(lanes), tuple(pairs))


def _counts(entry: StoredEcho, lane: Lane) -> bool:
    return entry.meteoric and entry.echo.channel == lane.channel.name


def _scales(lanes: Sequence[Lane]) -> Scales | None:
    if len(lanes) < 2:
        return None
    counts = [[row.echoes for row in lane.hours] for lane in lanes]
    live_h = [[(row.coverage_s - row.busy_s) / 3600.0 for row in lane.hours] for lane in lanes]
    return channel_scales(counts, live_h)
