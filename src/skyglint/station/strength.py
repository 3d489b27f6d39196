"""How strong an echo is, by a measure that means the same for all kinds of channels."""

from __future__ import annotations

import math
from typing import Final

from skyglint.echoes.echo import Echo
from skyglint.site import Channel

#: A carrier's peak is referred to 1 Hz; a reading of 10 ms holds it in 100 Hz, and that is what its lane shows.
CARRIER_REFERENCE_HZ: Final = 100.0


def strength_db(echo: Echo, channel: Channel) -> float:
    """Return the peak over the floor, dB: in the channel's bandwidth, and for a carrier in 100 Hz."""
    if channel.kind == "carrier":
        return echo.peak_snr_db - 10.0 * math.log10(CARRIER_REFERENCE_HZ)
    return echo.peak_snr_db


def peak_words(echo: Echo, channel: Channel) -> str:
    """Return the peak with its unit."""
    return f"{echo.peak_snr_db:.0f} {'dB-Hz' if channel.kind == 'carrier' else 'dB'}"
