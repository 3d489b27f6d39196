"""Mass indices of groups of echoes: all channels together, and hours that a shower rules against those without one.

No single echo can be told to be a shower's; hours can be told in which most of them are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.mass_index import MassIndex, completeness_limit, mass_index_from_amplitudes
from skyglint.activity.shower_study import ShowerStudy
from skyglint.activity.study import LONGEST_DIFFUSION_S, clean_echoes
from skyglint.store import StoredEcho

Array = NDArray[np.float64]

#: A shower rules an hour in which it is expected to bring at least this share of the echoes; an hour is taken as
#: sporadic when no more than the second share is expected to come from showers.
_RULES, FREE = 0.5, 0.03


@dataclass(frozen=True, slots=True)
class Sizes:
    """What tells the masses of a channel's clean echoes of one class: peak amplitudes, or durations.

    Attributes
    ----------
    start_unix, value
        By echo, shape (n,).
    lowest
        Value from which on next to none is missed; NaN where too few echoes told it.
    highest
        Value from which on it no longer tells the mass.
    """

    start_unix: Array
    value: Array
    lowest: float
    highest: float = np.inf


#: From values, the lowest and the highest of each, to the index.
Estimator = Callable[[Array, float, Array], MassIndex]


def amplitudes_of(channel: str, echoes: Sequence[StoredEcho]) -> Sizes:
    """Return the peak amplitudes of a channel's clean underdense echoes, over the channel's own limit."""
    kept = [stored.echo for stored in clean_echoes(channel, echoes) if stored.echo_class == "underdense"]
    values = 10.0 ** (np.array([echo.peak_snr_db for echo in kept], dtype=np.float64) / 20.0)
    starts = np.array([echo.start_unix for echo in kept], dtype=np.float64)
    return Sizes(starts, values, completeness_limit(values))


def durations_of(by_channel: dict[str, list[StoredEcho]]) -> dict[str, Sizes]:
    """Return the durations of the channels' clean overdense echoes, which are few: over one limit for all."""
    found = {}
    for channel, echoes in by_channel.items():
        kept = [stored.echo for stored in clean_echoes(channel, echoes) if stored.echo_class == "overdense"]
        found[channel] = np.array([(echo.start_unix, echo.duration_s) for echo in kept], np.float64).reshape(-1, 2).T
    durations = np.concatenate([np.empty(0), *(part[1] for part in found.values())])
    limit = completeness_limit(durations, highest=LONGEST_DIFFUSION_S)
    return {channel: Sizes(start, value, limit, LONGEST_DIFFUSION_S) for channel, (start, value) in found.items()}


def mass_index_of_all(sizes: Iterable[Sizes], estimator: Estimator = mass_index_from_amplitudes) -> MassIndex:
    """Return the mass index of all channels together, each above its own limit."""
    return _pooled([(part, np.ones(len(part.value), dtype=bool)) for part in sizes], estimator)


def mass_index_by_source(
    sizes: dict[str, Sizes],
    studies: dict[str, ShowerStudy],
    codes: Sequence[str],
    estimator: Estimator = mass_index_from_amplitudes,
) -> dict[str, MassIndex]:
    """Return the mass index of the hours that each of some showers rules, and of those without showers.

    Parameters
    ----------
    sizes, studies
        By channel; channels without a study are left out.
    codes
        IAU codes of the showers. The hours without showers stand under ``sporadic``.
    estimator
        What makes an index of the sizes.
    """
    groups: dict[str, list[tuple[Sizes, NDArray[np.bool_]]]] = {"sporadic": [], **{code: [] for code in codes}}
    for channel, study in studies.items():
        own = sizes[channel]
        if not len(study.hours.start_unix):
            continue
        shares = shower_shares(study, codes)
        ruled = {"sporadic": free_of_showers(study, codes)} | {code: share >= _RULES for code, share in shares.items()}
        hour = np.searchsorted(study.hours.start_unix, own.start_unix, side="right") - 1
        for name, parts in groups.items():
            if name in ruled:
                parts.append((own, np.asarray((hour >= 0) & ruled[name][hour])))
    return {name: _pooled(parts, estimator) for name, parts in groups.items()}


def shower_shares(study: ShowerStudy, codes: Sequence[str]) -> dict[str, Array]:
    """Return what share of the expected echoes each of some showers brings, by the study's hours, shapes (n,)."""
    if study.fit is None:
        return {}
    expected = np.maximum(study.fit.expected, 1e-12)
    return {
        result.shower.iau_code: np.maximum(float(result.strength.strength), 0.0)
        * result.response_km2
        * study.hours.exposure_h
        / expected
        for result in study.results
        if result.shower.iau_code in codes
    }


def shower_share(study: ShowerStudy, codes: Sequence[str]) -> Array:
    """Return what share of the expected echoes some showers bring together, by the study's hours, shape (n,)."""
    return np.asarray(sum(shower_shares(study, codes).values(), np.zeros(len(study.hours.start_unix))))


def free_of_showers(study: ShowerStudy, codes: Sequence[str]) -> NDArray[np.bool_]:
    """Tell in which of the study's hours some showers bring next to nothing of the expected echoes, shape (n,)."""
    return shower_share(study, codes) <= FREE


def _pooled(parts: Sequence[tuple[Sizes, NDArray[np.bool_]]], estimator: Estimator) -> MassIndex:
    """Return the index of some echoes over their channels' limits; a channel without a limit takes no part."""
    known = [(sizes, chosen) for sizes, chosen in parts if sizes.lowest > 0]
    over = [sizes.value[chosen] / sizes.lowest for sizes, chosen in known]
    highest = [np.full(int(chosen.sum()), sizes.highest / sizes.lowest) for sizes, chosen in known]
    return estimator(np.concatenate([np.empty(0), *over]), 1.0, np.concatenate([np.empty(0), *highest]))
