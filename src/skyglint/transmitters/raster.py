"""Channel rasters: where a region puts its FM stations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Region = Literal["americas", "world"]


@dataclass(frozen=True, slots=True)
class Raster:
    """The FM channels of a region.

    Attributes
    ----------
    first_hz, last_hz
        Outermost carrier frequencies.
    step_hz
        Distance between them.
    """

    first_hz: float
    last_hz: float
    step_hz: float

    def centers_hz(self) -> NDArray[np.float64]:
        """Return all carrier frequencies."""
        return np.arange(self.first_hz, self.last_hz + self.step_hz / 2, self.step_hz)


#: ``americas``: 47 CFR 73.201, channels 201 to 300. ``world``: ITU GE84, 87.5 to 108 MHz in steps of 100 kHz (some
#: stations stand between them).
RASTERS: Final[dict[Region, Raster]] = {
    "americas": Raster(88.1e6, 107.9e6, 200e3),
    "world": Raster(87.5e6, 108.0e6, 100e3),
}


def american_channel_hz(channel: int) -> float:
    """Return the frequency of an American FM channel, 87.9 + 0.2 (N - 200) MHz (47 CFR 73.201).

    Examples
    --------
    >>> american_channel_hz(250)
    97900000.0
    """
    return 87.9e6 + 200e3 * (channel - 200)


def raster_of(frequencies_hz: NDArray[np.float64]) -> Raster:
    """Return the raster that a region's FM stations keep: the American one if nearly all stand on odd tenths."""
    tenths = np.round(frequencies_hz[(frequencies_hz > 87e6) & (frequencies_hz < 108.5e6)] / 1e5)
    if tenths.size and np.mean(tenths % 2 == 1) > 0.95:
        return RASTERS["americas"]
    return RASTERS["world"]
