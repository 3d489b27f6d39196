"""Who an echo was: what the samples of an FM burst say of their station."""

from __future__ import annotations

import dataclasses
import math
from collections import defaultdict, deque
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from skyglint.echoes.echo import Echo
from skyglint.site import Channel
from skyglint.station.recent import Samples

#: Weaker bursts say nothing: 15 dB is where a declared code is mostly confirmed, and the pilot shows a little lower.
LEAST_SNR_DB = 8.0
#: Echoes whose mean frequency must be known before their median serves as the station's own offset.
LEAST_OFFSETS = 5
#: Of a longer echo the strongest stretch of this length is demodulated: 22 groups say what there is to say, and the
#: work stays short enough for a station that listens meanwhile.
LONGEST_S = 2.0


def strongest_span(echo: Echo, held_since_unix: float, longest_s: float = LONGEST_S) -> tuple[float, float]:
    """Return start and end of the strongest stretch of an echo, at most ``longest_s`` long, that is still held."""
    begin = max(echo.start_unix, held_since_unix)
    if echo.end_unix - begin <= longest_s:
        return begin, echo.end_unix
    middle = echo.peak_unix
    if echo.snippet is not None:
        picture = echo.snippet
        power = np.nan_to_num(np.power(10.0, picture.power_db.astype(np.float64) / 10.0))
        power[: max(0, int((begin - picture.start_unix) / picture.step_s))] = 0.0
        width = min(len(power), max(1, round(longest_s / picture.step_s)))
        sums = np.convolve(power, np.ones(width), mode="valid")
        middle = picture.start_unix + (int(sums.argmax()) + width / 2) * picture.step_s
    start = min(max(middle - longest_s / 2, begin), echo.end_unix - longest_s)
    return start, start + longest_s


class Identifier:
    """Adds programme code, pilot and Doppler to FM echoes of target channels, from the samples still held.

    Parameters
    ----------
    channels
        The site's channels.
    correction_ppm
        How much faster than stated the receiver's clock runs.
    """

    def __init__(self, channels: Sequence[Channel], correction_ppm: float = 0.0) -> None:
        self._channels = {
            channel.name: channel for channel in channels if channel.kind == "fm" and channel.role == "target"
        }
        self._factor = 1.0 + correction_ppm * 1e-6
        self._offsets_hz: dict[str, deque[float]] = defaultdict(lambda: deque(maxlen=101))

    def identify(self, echo: Echo, recent: Samples) -> Echo:
        """Return the echo with what its samples say; as it was where they say nothing or are no longer held."""
        channel = self._channels.get(echo.channel)
        if channel is None or not echo.peak_snr_db >= LEAST_SNR_DB:
            return echo
        excerpt = recent.excerpt(*strongest_span(echo, recent.since_unix))
        if excerpt is None or excerpt.encoding.components == 1 or excerpt.sample_rate_hz < channel.bandwidth_hz:
            return echo
        from skyglint.fm.identity import identify

        offset_hz = channel.frequency_hz - excerpt.center_frequency_hz * self._factor
        found = identify(excerpt.samples, excerpt.sample_rate_hz * self._factor, offset_hz, channel.rds_pi or "")
        details = dict(echo.details)
        for name in ("wrong_probability", "pilot_snr_db", "pilot_hz", "mean_offset_hz", "mean_offset_sd_hz"):
            value = getattr(found, name)
            if not math.isnan(value):
                details[name] = value
        flags = set(echo.flags)
        if found.confirmed == "other":
            flags.add("other-station")
        if found.stereo:
            details["stereo"] = 1.0
        return dataclasses.replace(
            self._with_doppler(echo, found.mean_offset_hz, found.mean_offset_sd_hz),
            rds_pi=found.pi,
            flags=tuple(sorted(flags)),
            details=details,
            reason=" ".join(filter(None, (echo.reason, found.sentence))) if found.pi or found.stereo else echo.reason,
        )

    def _with_doppler(self, echo: Echo, offset_hz: float, offset_sd_hz: float) -> Echo:
        if math.isnan(offset_hz):
            return echo
        from skyglint.fm.mean_offset import doppler

        known = np.array(self._offsets_hz[echo.channel])
        self._offsets_hz[echo.channel].append(offset_hz)
        if len(known) < LEAST_OFFSETS:
            return echo
        own_hz, own_sd_hz = _median(known)
        shift_hz, sd_hz = doppler(offset_hz, offset_sd_hz, own_hz, own_sd_hz)
        return dataclasses.replace(echo, doppler_hz=shift_hz, doppler_sd_hz=sd_hz)


def _median(values: NDArray[np.float64]) -> tuple[float, float]:
    """Return the median and its standard error: 1.2533 that of the mean, the spread from the median deviation.

    Both for Gaussian scatter (Huber, "Robust Statistics" (1981) [from memory]).
    """
    middle = float(np.median(values))
    spread = 1.4826 * float(np.median(np.abs(values - middle)))
    return middle, 1.2533 * spread / math.sqrt(len(values))
