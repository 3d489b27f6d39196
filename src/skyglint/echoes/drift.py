"""Whether a carrier's line drifts evenly, as an aircraft's or a satellite's does, however slowly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from skyglint.echoes.tones import Hit

_LEAST_HITS, _STRONG_SHARE = 4, 0.1


@dataclass(frozen=True, slots=True)
class Drift:
    """The straight line through a burst's hits in time and frequency.

    Attributes
    ----------
    drift_hz
        How far the frequency moves along it from the first hit to the last.
    straightness
        Scatter of the frequencies that the line explains over the scatter that it leaves.
    """

    drift_hz: float
    straightness: float


def line_drift(hits: Sequence[Hit], rate_hz: float) -> Drift | None:
    """Fit a line through the strong hits, weighted by their energy; None where there are too few."""
    highest = max(hit.energy for hit in hits)
    strong = [hit for hit in hits if hit.energy >= _STRONG_SHARE * highest]
    energy = np.array([hit.energy for hit in strong])
    time = np.array([hit.sample / rate_hz + 0.5 * hit.decay_s for hit in strong])
    frequency = np.array([hit.frequency_hz for hit in strong])
    time -= np.average(time, weights=energy)
    frequency -= np.average(frequency, weights=energy)
    spread = float(np.average(time**2, weights=energy))
    if len(strong) < _LEAST_HITS or spread <= 0:
        return None
    slope = float(np.average(time * frequency, weights=energy)) / spread
    left = float(np.average((frequency - slope * time) ** 2, weights=energy))
    return Drift(abs(slope) * float(np.ptp(time)), abs(slope) * float(np.sqrt(spread / max(left, 1e-6))))
