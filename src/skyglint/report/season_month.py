"""What a month's echoes say: populations, showers, coincidences, verdicts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import combinations

import numpy as np

from skyglint.activity.coincidences import coincidences
from skyglint.activity.coverage import intersection, segments_of
from skyglint.activity.mass_index import MassIndex, completeness_limit, mass_index_from_durations
from skyglint.activity.populations import amplitudes_of, free_of_showers, mass_index_by_source, mass_index_of_all
from skyglint.activity.rates import Rate
from skyglint.activity.response import ChannelPath
from skyglint.activity.shower_curve import CombinedShower, CurvePoint, combine_showers, shower_curve
from skyglint.activity.shower_study import ShowerStudy, study_showers
from skyglint.activity.study import LONGEST_DIFFUSION_S, clean_echoes
from skyglint.report.season import Array, Month, Pair, Verdicts
from skyglint.store.records import CoverageSpan, StoredEcho

#: Echoes this close in two channels are taken for one meteor.
WINDOW_S = 0.5
#: A shower that stands out by this many standard deviations has its course drawn and its mass index told.
STANDS_OUT = 4.0
#: Hours that a shower of at least this significance has a tenth of are kept out of the sporadic course.
SET_APART = 3.0
#: Width of a span of solar longitude on a shower's course: about a day, and a quarter of one where it stands out far.
_WIDE_DEG, _NARROW_DEG, _FAR_OUT = 1.0, 0.25, 15.0


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
    studies = {
        target: study_showers(paths[target], rows, by_channel[target], calibration=calibration)
        for target in targets
        if target in paths
    }
    showers = combine_showers(studies, calibration)
    telling = [shower for shower in showers if shower.significance >= STANDS_OUT]
    heights = [
        stored.echo.height_km for own in by_channel.values() for stored in own if stored.echo_class == "underdense"
    ]
    return Month(
        name=name,
        echoes=sum(map(len, by_channel.values())),
        underdense=mass_index_of_all(list(amplitudes.values())),
        overdense=overdense_mass_index(by_channel),
        by_source=mass_index_by_source(amplitudes, studies, [shower.code for shower in telling]),
        showers=tuple(showers),
        curves={shower.code: _curve(shower, studies, calibration) for shower in telling},
        shower_hours=_shower_hours(studies, [shower.code for shower in showers if shower.significance >= SET_APART]),
        limits_db={target: study.limit_snr_db for target, study in studies.items()},
        pairs=channel_pairs(by_channel, coverage),
        heights=np.array([height for height in heights if height == height]),
        verdicts=verdicts_of(echoes),
    )


def _shower_hours(studies: dict[str, ShowerStudy], codes: Sequence[str]) -> frozenset[float]:
    return frozenset(
        start for study in studies.values() for start in study.hours.start_unix[~free_of_showers(study, codes)].tolist()
    )


def overdense_mass_index(by_channel: dict[str, list[StoredEcho]]) -> MassIndex:
    """Return the mass index from the durations of all channels' clean overdense echoes."""
    durations = np.array(
        [
            stored.echo.duration_s
            for target, own in by_channel.items()
            for stored in clean_echoes(target, own)
            if stored.echo_class == "overdense"
        ]
    )
    return mass_index_from_durations(
        durations, completeness_limit(durations, highest=LONGEST_DIFFUSION_S), LONGEST_DIFFUSION_S
    )


def _curve(shower: CombinedShower, studies: dict[str, ShowerStudy], calibration: float) -> tuple[CurvePoint, ...]:
    """Return a shower's course over its window of activity, in spans that lie evenly about its maximum."""
    row = next(iter(shower.by_channel.values())).shower
    step = _NARROW_DEG if shower.significance > _FAR_OUT else _WIDE_DEG
    peak = row.peak_solar_longitude_deg
    before = max((peak - row.activity_start_deg) % 360.0, step)
    after = max((row.activity_end_deg - peak) % 360.0, step)
    edges: Array = peak + step * (np.arange(-np.ceil(before / step), np.ceil(after / step) + 1) + 0.5)
    return tuple(shower_curve(list(studies.values()), shower.code, edges, calibration))


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
