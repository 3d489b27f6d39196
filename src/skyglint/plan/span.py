"""A receiver's span: what fits into it, and where to tune."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from skyglint.path.constants import FloatArray
from skyglint.plan.proposal import WIDTH_HZ, Proposed
from skyglint.site import Site

#: Part of a receiver's span that its filters leave flat (common practice).
USABLE_SPAN: Final = 0.8


def window_hz(site: Site, channels: Sequence[Proposed]) -> tuple[float, float]:
    """Return where the centre of a further channel may lie so that all still fit into the usable span.

    A span narrower than a channel holds that one channel.
    """
    room = max(USABLE_SPAN * site.receiver.sample_rate_hz - max(WIDTH_HZ[channel.kind] for channel in channels), 0.0)
    frequencies = [channel.frequency_hz for channel in channels]
    return max(frequencies) - room, min(frequencies) + room


def tuning_hz(site: Site, channels: Sequence[Proposed], strong_hz: FloatArray) -> tuple[float, bool]:
    """Return the tuning nearest the middle that keeps the centre spike and strong images off every channel.

    Parameters
    ----------
    strong_hz
        Frequencies of stations strong enough to leave an image on the other side of the tuning.

    Returns
    -------
    The frequency, and whether it does keep them off; if none does it is the middle.
    """
    centers = np.array([channel.frequency_hz for channel in channels])
    halves = np.array([WIDTH_HZ[channel.kind] / 2 for channel in channels])
    step = max(float(halves.min()) / 2, 1e3)
    middle = round(float(centers.min() + centers.max()) / 2 / step) * step
    half_span = site.receiver.sample_rate_hz / 2
    for k in sorted(range(-int(half_span / step), int(half_span / step) + 1), key=abs):
        tuned = middle + k * step
        inside = np.all(np.abs(centers - tuned) + halves <= half_span)
        spike = np.all(np.abs(centers - tuned) >= 1.5 * halves - 1.0)
        images = (2 * tuned - strong_hz)[np.abs(strong_hz - tuned) <= half_span]
        clear = np.all(np.abs(centers[:, None] - images) >= 1.5 * halves[:, None] - 1.0)
        if inside and spike and clear:
            return float(tuned), True
    return float(middle), False
