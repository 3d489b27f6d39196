"""Mass indices of groups of echoes: all channels together, and hours that a shower rules against those without one.

No single echo can be told to be a shower's; hours can be told in which most of them are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.mass_index import MassIndex, completeness_limit, mass_index_from_amplitudes
from skyglint.activity.shower_study import ShowerStudy
from skyglint.activity.study import clean_echoes
from skyglint.store import StoredEcho

Array = NDArray[np.float64]

#: A shower rules an hour in which it is expected to bring at least this share of the echoes; an hour is taken as
#: sporadic when no more than the second share is expected to come from showers.
_RULES, _FREE = 0.5, 0.1


@dataclass(frozen=True, slots=True)
class Amplitudes:
    """Peak amplitudes of a channel's clean underdense echoes.

    Attributes
    ----------
    start_unix, amplitude
        By echo, shape (n,).
    limit
        Amplitude from which on next to none is missed; NaN where too few echoes told it.
    """

    start_unix: Array
    amplitude: Array
    limit: float


def amplitudes_of(channel: str, echoes: Sequence[StoredEcho]) -> Amplitudes:
    """Return a channel's amplitudes; echoes of other channels and those that are no clean underdense are left out."""
    kept = [stored.echo for stored in clean_echoes(channel, echoes) if stored.echo_class == "underdense"]
    values = 10.0 ** (np.array([echo.peak_snr_db for echo in kept], dtype=np.float64) / 20.0)
    starts = np.array([echo.start_unix for echo in kept], dtype=np.float64)
    return Amplitudes(starts, values, completeness_limit(values))


def mass_index_of_all(amplitudes: Sequence[Amplitudes]) -> MassIndex:
    """Return the mass index of all channels together, each above its own limit."""
    return _pooled([(part.amplitude, part.limit) for part in amplitudes])


def mass_index_by_source(
    amplitudes: dict[str, Amplitudes], studies: dict[str, ShowerStudy], codes: Sequence[str]
) -> dict[str, MassIndex]:
    """Return the mass index of the hours that each of some showers rules, and of those without showers.

    Parameters
    ----------
    amplitudes, studies
        By channel; channels without a study are left out.
    codes
        IAU codes of the showers. The hours without showers stand under ``sporadic``.
    """
    groups: dict[str, list[tuple[Array, float]]] = {"sporadic": [], **{code: [] for code in codes}}
    for channel, study in studies.items():
        own = amplitudes[channel]
        shares = shower_shares(study, codes)
        ruled = {"sporadic": free_of_showers(study, codes)} | {code: share >= _RULES for code, share in shares.items()}
        hour = np.searchsorted(study.hours.start_unix, own.start_unix, side="right") - 1
        for name, parts in groups.items():
            if name in ruled:
                parts.append((own.amplitude[(hour >= 0) & ruled[name][hour]], own.limit))
    return {name: _pooled(parts) for name, parts in groups.items()}


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


def free_of_showers(study: ShowerStudy, codes: Sequence[str]) -> NDArray[np.bool_]:
    """Tell in which of the study's hours some showers bring no more than a tenth of the expected echoes, shape (n,)."""
    shares = shower_shares(study, codes)
    return np.asarray(sum(shares.values(), np.zeros(len(study.hours.start_unix))) <= _FREE)


def _pooled(parts: Sequence[tuple[Array, float]]) -> MassIndex:
    """Return the index of amplitudes over their channels' limits; a channel without a limit takes no part."""
    over = [values / limit for values, limit in parts if limit > 0]
    return mass_index_from_amplitudes(np.concatenate([np.empty(0), *over]), 1.0)
