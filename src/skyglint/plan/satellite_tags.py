"""Which echoes a satellite could have made: both ends see it at the echo's peak, and a measured shift agrees."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from skyglint.plan.satellite_passes import SatellitePass
from skyglint.sky.orbits.elements import position_error_km
from skyglint.store.records import StoredEcho, Tag

#: What the transmitter's and receiver's oscillators may add unnoticed (assumed).
_OSCILLATORS_HZ = 20.0
_LOW_ORBIT_KM_S = 7.5
_SIGMAS = 3.0


def satellite_tags(passes: Sequence[SatellitePass], echoes: Iterable[StoredEcho]) -> Iterator[tuple[int, Tag]]:
    """Yield the number of each echo that a pass may explain, and its tag.

    A tag is no verdict: most echoes during a pass are of meteors. Where a Doppler shift was measured it has to agree
    with the prediction within three standard errors, 20 Hz for the oscillators, and what the age of the elements does
    to the time of the pass.
    """
    for stored in echoes:
        for one in passes:
            tag = _tag(one, stored)
            if tag is not None:
                yield stored.id, tag


def _tag(one: SatellitePass, stored: StoredEcho) -> Tag | None:
    echo, track = stored.echo, one.track
    shift = track.bistatic_doppler_hz.get(echo.channel)
    unix = echo.peak_unix
    if shift is None or len(track.unix) < 2 or not track.unix[0] <= unix <= track.unix[-1]:
        return None
    predicted_hz = float(np.interp(unix, track.unix, shift))
    if math.isnan(predicted_hz):
        return None
    details = {
        "elevation_deg": round(float(np.interp(unix, track.unix, track.look.elevation_deg)), 2),
        "predicted_doppler_hz": round(predicted_hz, 1),
    }
    if not math.isnan(echo.doppler_hz):
        difference_hz = echo.doppler_hz - predicted_hz
        slope_hz_s = abs(float(np.interp(unix, track.unix, np.gradient(shift, track.unix))))
        late_s = position_error_km(one.age_days) / _LOW_ORBIT_KM_S
        spread_hz = 0.0 if math.isnan(echo.doppler_sd_hz) else _SIGMAS * echo.doppler_sd_hz
        # At the ends of what both see the slope is unknown: only the other allowances count there.
        allowed_hz = _OSCILLATORS_HZ + spread_hz + (0.0 if math.isnan(slope_hz_s) else slope_hz_s * late_s)
        if abs(difference_hz) > allowed_hz:
            return None
        details["doppler_difference_hz"] = round(difference_hz, 1)
    return Tag("satellite", str(one.elements.catalog_number), details)
