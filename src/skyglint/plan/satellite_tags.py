"""Which echoes a satellite could have made: both ends see it in the echo's middle, and a measured shift agrees."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from skyglint.echoes.echo import Echo
from skyglint.echoes.spacecraft import OSCILLATORS_HZ
from skyglint.plan.satellite_passes import SatellitePass
from skyglint.sky.orbits.elements import position_error_km
from skyglint.store.records import StoredEcho, Tag

_LOW_ORBIT_KM_S = 7.5
_SIGMAS = 3.0


def satellite_tags(passes: Sequence[SatellitePass], echoes: Iterable[StoredEcho]) -> Iterator[tuple[int, Tag]]:
    """Yield the number of each echo that a pass may explain, and its tag.

    A tag is no verdict: most echoes during a pass are of meteors. Where a Doppler shift was measured it has to agree
    with the prediction within three standard errors: its own, that of the oscillators, what the age of the elements
    does to the time of the pass, and where in a long echo its mean shift lies. Where the transmitter's power is known,
    the tag says how strong the reflection is by the radar equation.
    """
    for stored in echoes:
        for tag in tags_of(passes, stored.echo):
            yield stored.id, tag


def tags_of(passes: Iterable[SatellitePass], echo: Echo) -> Iterator[Tag]:
    """Yield the tags of one echo."""
    for one in passes:
        tag = _tag(one, echo)
        if tag is not None:
            yield tag


def _tag(one: SatellitePass, echo: Echo) -> Tag | None:
    track = one.track
    shift = track.channel_doppler_hz.get(echo.channel)
    # A moving line's mean shift is that of its middle, or near it.
    unix = 0.5 * (echo.start_unix + echo.end_unix)
    if shift is None or len(track.unix) < 2 or not track.unix[0] <= unix <= track.unix[-1]:
        return None
    predicted_hz = float(np.interp(unix, track.unix, shift))
    if math.isnan(predicted_hz):
        return None
    details = {
        "elevation_deg": round(float(np.interp(unix, track.unix, track.look.elevation_deg)), 2),
        "predicted_doppler_hz": round(predicted_hz, 1),
    }
    if echo.channel in one.snr_db:
        details["expected_snr_db"] = round(float(np.interp(unix, track.unix, one.snr_db[echo.channel])), 1)
    if not math.isnan(echo.doppler_hz):
        difference_hz = echo.doppler_hz - predicted_hz
        slope_hz_s = float(np.interp(unix, track.unix, np.gradient(shift, track.unix)))
        late_s = position_error_km(one.age_days) / _LOW_ORBIT_KM_S
        # At the ends of what both see the slope is unknown: only the other allowances count there.
        errors = (OSCILLATORS_HZ, echo.doppler_sd_hz, slope_hz_s * late_s, slope_hz_s * echo.duration_s / math.sqrt(12))
        if abs(difference_hz) > _SIGMAS * math.hypot(*(error for error in errors if not math.isnan(error))):
            return None
        details["doppler_difference_hz"] = round(difference_hz, 1)
    return Tag("satellite", str(one.elements.catalog_number), details)
