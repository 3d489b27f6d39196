"""From a survey's readings to levels: whose each is, which are only limits, and how many dBm full scale is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from skyglint.horizon.levels import Level
from skyglint.horizon.matching import SAME_FREQUENCY_HZ, Candidates
from skyglint.horizon.silence import (
    LEAST_RISE_DB,
    NOISE_SCALE_SD_DB,
    REFERENCE_SCALE_SD_DB,
    STATED_SCALE_SD_DB,
    Scale,
)
from skyglint.path.noise import Environment, noise_power_dbm
from skyglint.station.survey import Reading

#: How much of a station's power falls into the measured bandwidth at some distance from it (common practice; the
#: outer sidebands of FM and a USB receiver's filters), by the largest distance.
LEAKAGE_DB: Final = ((60e3, 0.0), (125e3, -6.0), (225e3, -35.0))
#: Signals nearer than this to a neighbour's leakage may be nothing else.
_CLEAR_OF_LEAKAGE_DB: Final = 6.0
#: Both models agree on a station that serves as a reference within this.
_AGREED_DB: Final = 3.0
#: Least standard error of a level (common practice).
_LEAST_SD_DB: Final = 2.0


def levels_of(
    readings: Sequence[Reading],
    candidates: Candidates,
    full_scale_dbm: float | None = None,
    environment: Environment = "residential",
    noise_figure_db: float = 6.0,
) -> tuple[list[Level], Scale | None]:
    """Return the levels of a survey, and how its scale was found; no scale means no readings.

    Parameters
    ----------
    full_scale_dbm
        Power that fills the converter, where the observer measured it.
    environment, noise_figure_db
        Of the noise that sets the scale where neither that nor a reference is known (ITU-R P.372).
    """
    if not readings:
        return [], None
    named = [station_of(reading, candidates) for reading in readings]
    limits = [is_limit(reading, readings) for reading in readings]
    scale = _scale(readings, named, limits, candidates, full_scale_dbm, environment, noise_figure_db)
    levels = []
    for reading, (_, name), limited in zip(readings, named, limits, strict=True):
        heard = reading.signal_dbfs if reading.rise_db >= LEAST_RISE_DB else _faintest_dbfs(reading)
        sd_db = max(reading.spread_db, _LEAST_SD_DB)
        levels.append(
            Level(reading.start_unix, reading.frequency_hz, heard + scale.full_scale_dbm, sd_db, name, limited)
        )
    return levels, scale


def station_of(reading: Reading, candidates: Candidates) -> tuple[int | None, str]:
    """Return the candidate that a reading belongs to and the name to write down.

    The programme code decides where one was read. A code that the list does not have there is written down as it is,
    so that the level is not taken for a listed station's.
    """
    place, _ = candidates.find(reading.frequency_hz)
    if not reading.pi:
        return place, "" if place is None else candidates.transmitters[place].name
    same = np.flatnonzero(np.abs(candidates.frequency_hz - reading.frequency_hz) <= SAME_FREQUENCY_HZ)
    coded = [int(k) for k in same if candidates.transmitters[k].rds_pi == reading.pi]
    if coded:
        best = max(coded, key=lambda k: float(candidates.round_dbm[k]))
        return best, candidates.transmitters[best].name
    if place is not None and not candidates.transmitters[place].rds_pi:
        return place, candidates.transmitters[place].name
    return None, f"programme {reading.pi}"


def is_limit(reading: Reading, readings: Sequence[Reading]) -> bool:
    """Tell whether a reading is only an upper limit: lost in the noise, or perhaps a neighbour's leakage."""
    if reading.rise_db < LEAST_RISE_DB:
        return True
    for other in readings:
        apart = abs(other.frequency_hz - reading.frequency_hz)
        leakage = next((db for width, db in LEAKAGE_DB if apart <= width), None)
        beside = apart > 1.0 and other.start_unix == reading.start_unix and leakage is not None
        if beside and other.rise_db >= LEAST_RISE_DB:
            assert leakage is not None  # tested just above
            if reading.signal_dbfs < other.signal_dbfs + leakage + _CLEAR_OF_LEAKAGE_DB:
                return reading.signal_dbfs < other.signal_dbfs
    return False


def _scale(
    readings: Sequence[Reading],
    named: Sequence[tuple[int | None, str]],
    limits: Sequence[bool],
    candidates: Candidates,
    full_scale_dbm: float | None,
    environment: Environment,
    noise_figure_db: float,
) -> Scale:
    if full_scale_dbm is not None:
        return Scale(full_scale_dbm, STATED_SCALE_SD_DB, "as stated by the observer")
    differences = {
        place: float(candidates.round_dbm[place]) - reading.signal_dbfs
        for reading, (place, _), limited in zip(readings, named, limits, strict=True)
        if place is not None
        and not limited
        and abs(candidates.round_dbm[place] - candidates.plane_dbm[place]) <= _AGREED_DB
    }
    if differences:
        middle = float(np.median(list(differences.values())))
        near = "one near station" if len(differences) == 1 else f"{len(differences)} near stations"
        how = f"from {near}, where both models agree"
        return Scale(middle, REFERENCE_SCALE_SD_DB, how)
    scales = [
        float(noise_power_dbm(one.frequency_hz, one.bandwidth_hz, environment, noise_figure_db)) - one.noise_dbfs
        for one in readings
    ]
    return Scale(max(scales), NOISE_SCALE_SD_DB, "from the noise that ITU-R P.372 expects")


def _faintest_dbfs(reading: Reading) -> float:
    return reading.noise_dbfs + 10 * math.log10(10 ** (LEAST_RISE_DB / 10) - 1)
