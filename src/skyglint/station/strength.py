"""How strong an echo is, by a measure that means the same for all kinds of channels."""

from __future__ import annotations

import math
from typing import Final

from skyglint.echoes.echo import Echo
from skyglint.site import Channel

#: A carrier's peak is referred to 1 Hz; a reading of 10 ms holds it in 100 Hz, and that is what its lane shows.
CARRIER_REFERENCE_HZ: Final = 100.0
CARRIER_LESS_DB: Final = 10.0 * math.log10(CARRIER_REFERENCE_HZ)


def strength_db(echo: Echo, channel: Channel) -> float:
    """Return the peak over the floor, dB: in the channel's bandwidth, and for a carrier in 100 Hz."""
    return echo.peak_snr_db - peak_of_strength_db(0.0, channel)


def peak_of_strength_db(strength: float, channel: Channel) -> float:
    """Return the peak that an echo of this strength states: dB, and for a carrier dB-Hz."""
    return strength + (CARRIER_LESS_DB if channel.kind == "carrier" else 0.0)


def peak_words(echo: Echo, channel: Channel) -> str:
    """Return the peak with its unit."""
    return f"{echo.peak_snr_db:.0f} {'dB-Hz' if channel.kind == 'carrier' else 'dB'}"
