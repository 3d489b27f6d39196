"""Did an FM channel's power rise with a satellite's pass? The same question as for carriers, where no curve is seen."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.bank import FilterBank
from skyglint.dsp.pass_energy import energy_along
from skyglint.errors import RequestError
from skyglint.plan.satellite_passes import reflection_dbm, transmitter_place
from skyglint.signals.block import Gap, Source
from skyglint.site import Channel, Site
from skyglint.sky.orbits.elements import Elements
from skyglint.sky.satellites import satellite
from skyglint.station.follow import DETECTED_BELOW, Following, until

_SECOND = 1.0
_NONE = np.zeros(0)


def follow_power(
    source: Source,
    site: Site,
    elements: Elements,
    channel: Channel,
    *,
    span: tuple[float, float] | None = None,
    told: Callable[[float], None] = lambda unix: None,
) -> Following:
    """Test whether a channel's power follows the reflection that the radar equation expects.

    Parameters
    ----------
    span
        From when to when to listen; ``None`` for all of a recording. It has to reach well beyond the pass on either
        side, to show what the power does without it.

    Raises
    ------
    RequestError
        If the channel states no transmitter, the recording does not hold it, or no reflection is possible in it.
    """
    transmitter = transmitter_place(channel)
    if transmitter is None:
        raise RequestError(f"channel {channel.name}: the site file does not say where its transmitter stands")
    info = source.info
    start_unix, end_unix = span or (info.start_unix, info.end_unix)
    if not math.isfinite(end_unix):
        raise RequestError(f"{info.name}: a receiver; expected a recording")
    n_seconds = int((end_unix - start_unix) / _SECOND)
    unix: NDArray[np.float64] = start_unix + np.float64(_SECOND) * (np.arange(n_seconds) + 0.5)
    # The transmitter's power only scales the shape.
    expected_dbm = reflection_dbm(site, satellite(elements), unix, channel, transmitter, channel.power_w or 1.0)
    expected = np.where(np.isfinite(expected_dbm), 10 ** (expected_dbm / 10), 0.0)
    if not expected.any():
        raise RequestError(f"{info.name}: {elements.name} is not in sight of site and transmitter together")
    power = _power_by_second(source, site, channel, start_unix, n_seconds, told)
    whole = np.isfinite(power)
    if not whole.any():
        raise RequestError(f"{info.name}: holds nothing of channel {channel.name}")
    unix, power, expected = unix[whole], power[whole], expected[whole]
    statistic, chance = energy_along(power, expected)
    seen = np.flatnonzero(expected)
    return Following(
        detected=chance < DETECTED_BELOW,
        statistic=statistic,
        false_alarm_probability=chance,
        time_offset_s=math.nan,
        time_offset_sd_s=math.nan,
        frequency_offset_hz=math.nan,
        frequency_offset_sd_hz=math.nan,
        drift_hz=math.nan,
        drift_sd_hz=math.nan,
        start_unix=float(unix[seen[0]]) if len(seen) else math.nan,
        end_unix=float(unix[seen[-1]]) if len(seen) else math.nan,
        middle_unix=math.nan,
        closest_unix=math.nan,
        measured_unix=_NONE,
        measured_hz=_NONE,
        residual_hz=_NONE,
        sentence=_sentence(elements, channel, statistic, chance),
    )


def _power_by_second(
    source: Source,
    site: Site,
    channel: Channel,
    start_unix: float,
    n_seconds: int,
    told: Callable[[float], None],
) -> NDArray[np.float64]:
    """Return the channel's mean power in each second from a time on; NaN where more than a tenth is missing."""
    info = source.info
    bank = FilterBank([channel], site.receiver.correction_ppm, (info.band_low_hz, info.band_high_hz))
    sums, counts = np.zeros(n_seconds), np.zeros(n_seconds)
    for block in until(source, start_unix + n_seconds * _SECOND):
        frames = None if isinstance(block, Gap) else bank.process(block)
        if frames is None or frames.spectra[0].shape[1] == 0:
            continue
        told(frames.start_unix)
        middles = frames.start_unix + frames.frame_s * (np.arange(frames.n_frames) + 0.5)
        index = ((middles - start_unix) / _SECOND).astype(np.int64)
        inside = (index >= 0) & (index < n_seconds)
        np.add.at(sums, index[inside], frames.spectra[0].sum(axis=1)[inside])
        np.add.at(counts, index[inside], 1.0)
    enough = counts >= max(0.9 * float(counts.max(initial=0.0)), 1.0)
    return np.where(enough, sums / np.maximum(counts, 1.0), np.nan)


def _sentence(elements: Elements, channel: Channel, statistic: float, chance: float) -> str:
    if math.isnan(statistic):
        return (
            f"{elements.name}: cannot tell: the recording is too short beside the pass to say what "
            f"{channel.name} does without it."
        )
    verdict = "detected" if chance < DETECTED_BELOW else "not detected"
    return (
        f"{elements.name}: {verdict} in the power of {channel.name}; chance alone does as well with a probability of "
        f"{max(chance, 1e-12):.0e} ({statistic:.1f} deviations of the same shape at other times)."
    )
