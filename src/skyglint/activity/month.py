"""What a month's echoes say: populations, showers, coincidences, verdicts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.coincidences import Coincidences, coincidences
from skyglint.activity.coverage import intersection, segments_of
from skyglint.activity.mass_index import MassIndex, mass_index_from_durations
from skyglint.activity.populations import (
    FREE,
    amplitudes_of,
    durations_of,
    mass_index_by_source,
    mass_index_of_all,
    shower_share,
)
from skyglint.activity.rates import Rate
from skyglint.activity.response import ChannelPath
from skyglint.activity.shower_curve import CombinedShower, CurvePoint, combine_showers, shower_curve
from skyglint.activity.shower_study import ShowerStudy, study_showers
from skyglint.store.records import CoverageSpan, StoredEcho

Array = NDArray[np.float64]

#: Echoes this close in two channels are taken for one meteor.
WINDOW_S = 0.5
#: A shower that stands out by this many standard deviations has its course drawn and its mass index told.
STANDS_OUT = 4.0
#: Hours that a shower of at least this significance has much of are kept out of the sporadic course.
SET_APART = 3.0
#: Width of a span of solar longitude on a shower's course: about a day, and a quarter of one where it stands out far.
_WIDE_DEG, _NARROW_DEG, _FAR_OUT = 1.0, 0.25, 15.0


@dataclass(frozen=True, slots=True)
class Pair:
    """Two channels and how many echoes they share."""

    first: str
    second: str
    found: Coincidences


@dataclass(frozen=True, slots=True)
class Verdicts:
    """How often operator and machine agree.

    Attributes
    ----------
    judged, agreed
        Echoes that the operator judged, and those of one opinion.
    differences
        Machine's class, operator's class and how many, the most frequent first.
    """

    judged: int
    agreed: int
    differences: tuple[tuple[str, str, int], ...]


@dataclass(frozen=True, slots=True)
class Month:
    """What is told month by month, because echoes of more than that are never held at once.

    Attributes
    ----------
    name
        Such as ``2026-08``.
    echoes
        Echoes of target channels that count as meteors.
    underdense, overdense
        Mass index of all target channels together.
    by_source, overdense_by_source
        Mass index of the hours that a shower rules, and of those without one (``sporadic``).
    showers
        Showers as all channels tell them, the most significant first.
    studies
        What each channel tells of them, by its name.
    shower_hours
        Starts of the hours in which showers bring more than 3 % of the echoes of some channel.
    shower_share
        Share that showers have of a channel's echoes, by channel and start of the hour.
    pairs
        Channels compared for coincidences, the most telling first.
    heights
        Heights of underdense echoes.
    verdicts
        Operator and machine.
    """

    name: str
    echoes: int
    underdense: MassIndex
    overdense: MassIndex
    by_source: dict[str, MassIndex]
    overdense_by_source: dict[str, MassIndex]
    showers: tuple[CombinedShower, ...]
    studies: dict[str, ShowerStudy]
    shower_hours: frozenset[float]
    shower_share: dict[str, dict[float, float]]
    pairs: tuple[Pair, ...]
    heights: Array
    verdicts: Verdicts


@dataclass(frozen=True, slots=True)
class SeasonShower:
    """One apparition of a shower, over one month or several that follow each other.

    Attributes
    ----------
    months
        Names of the months.
    shower
        As all channels and months tell it.
    curve
        Its course against solar longitude; empty where it does not stand out.
    """

    months: tuple[str, ...]
    shower: CombinedShower
    curve: tuple[CurvePoint, ...]


def study_month(
    name: str,
    targets: Sequence[str],
    paths: dict[str, ChannelPath],
    coverage: Sequence[CoverageSpan],
    rows: Sequence[Rate],
    echoes: Sequence[StoredEcho],
    calibration: float,
) -> Month:
    """Study a month's echoes.

    Parameters
    ----------
    name
        Such as ``2026-08``.
    targets, paths
        Names of the target channels, and the paths of those whose transmitter's place is known.
    coverage, rows, echoes
        Of the month; rates by the hour.
    calibration
        True over modelled number of echoes.
    """
    by_channel: dict[str, list[StoredEcho]] = {target: [] for target in targets}
    for stored in echoes:
        if stored.meteoric and stored.echo.channel in by_channel:
            by_channel[stored.echo.channel].append(stored)
    amplitudes = {target: amplitudes_of(target, own) for target, own in by_channel.items()}
    durations = durations_of(by_channel)
    studies = {
        target: study_showers(paths[target], rows, by_channel[target], calibration=calibration)
        for target in targets
        if target in paths
    }
    showers = combine_showers(studies.values(), calibration)
    telling = [shower for shower in showers if shower.significance >= STANDS_OUT]
    codes = [shower.code for shower in telling]
    apart = [shower.code for shower in showers if shower.significance >= SET_APART]
    share = {target: _shares(study, apart) for target, study in studies.items()}
    heights = [
        stored.echo.height_km for own in by_channel.values() for stored in own if stored.echo_class == "underdense"
    ]
    return Month(
        name=name,
        echoes=sum(map(len, by_channel.values())),
        underdense=mass_index_of_all(amplitudes.values()),
        overdense=mass_index_of_all(durations.values(), mass_index_from_durations),
        by_source=mass_index_by_source(amplitudes, studies, codes),
        overdense_by_source=mass_index_by_source(durations, studies, codes, mass_index_from_durations),
        showers=tuple(showers),
        studies=studies,
        shower_hours=frozenset(start for own in share.values() for start, value in own.items() if value > FREE),
        shower_share=share,
        pairs=channel_pairs(by_channel, coverage),
        heights=np.array([height for height in heights if height == height]),
        verdicts=verdicts_of(echoes),
    )


def _shares(study: ShowerStudy, codes: Sequence[str]) -> dict[float, float]:
    return dict(zip(study.hours.start_unix.tolist(), shower_share(study, codes).tolist(), strict=True))


def season_showers(months: Sequence[Month], calibration: float) -> tuple[SeasonShower, ...]:
    """Return the showers of some months in order of time, then of significance: one that runs over an end stands once.

    Months that follow each other in the sequence are joined where they share a shower.
    """
    runs: list[tuple[str, list[Month]]] = []
    open_runs: dict[str, list[Month]] = {}
    for month in months:
        still: dict[str, list[Month]] = {}
        for shower in month.showers:
            still[shower.code] = open_runs.get(shower.code, [])
            if not still[shower.code]:
                runs.append((shower.code, still[shower.code]))
            still[shower.code].append(month)
        open_runs = still
    found = [_season_shower(code, run, calibration) for code, run in runs]
    return tuple(sorted(found, key=lambda entry: (entry.months[0], -np.nan_to_num(entry.shower.significance))))


def _season_shower(code: str, run: Sequence[Month], calibration: float) -> SeasonShower:
    studies = [study for month in run for study in month.studies.values()]
    shower = next(entry for entry in combine_showers(studies, calibration) if entry.code == code)
    curve = _curve(shower, studies, calibration) if shower.significance >= STANDS_OUT else ()
    return SeasonShower(tuple(month.name for month in run), shower, curve)


def _curve(shower: CombinedShower, studies: Sequence[ShowerStudy], calibration: float) -> tuple[CurvePoint, ...]:
    """Return a shower's course over its window of activity, in spans that lie evenly about its maximum."""
    row = shower.shower
    step = _NARROW_DEG if shower.significance > _FAR_OUT else _WIDE_DEG
    peak = row.peak_solar_longitude_deg
    before = max((peak - row.activity_start_deg) % 360.0, step)
    after = max((row.activity_end_deg - peak) % 360.0, step)
    edges: Array = peak + step * (np.arange(-np.ceil(before / step), np.ceil(after / step) + 1) + 0.5)
    return tuple(shower_curve(studies, shower.code, edges, calibration))


def channel_pairs(by_channel: dict[str, list[StoredEcho]], coverage: Sequence[CoverageSpan]) -> tuple[Pair, ...]:
    """Return every two channels with the echoes that they share, the most telling first."""
    starts = {name: np.array([stored.echo.start_unix for stored in own]) for name, own in by_channel.items()}
    watched = {name: segments_of(coverage, name) for name in by_channel}
    pairs = []
    for first, second in combinations(by_channel, 2):
        both = intersection(watched[first], watched[second])
        pairs.append(Pair(first, second, coincidences(starts[first], starts[second], both, WINDOW_S)))
    return tuple(sorted(pairs, key=lambda pair: (np.isnan(pair.found.probability), pair.found.probability)))


def verdicts_of(echoes: Sequence[StoredEcho]) -> Verdicts:
    """Return how often the operator and the machine agree."""
    pairs = Counter(
        (stored.echo.echo_class, stored.verdict.echo_class) for stored in echoes if stored.verdict is not None
    )
    agreed = sum(number for (machine, operator), number in pairs.items() if machine == operator)
    differences = [(*pair, number) for pair, number in pairs.most_common() if pair[0] != pair[1]]
    return Verdicts(sum(pairs.values()), agreed, tuple(differences))
