"""The last minutes of every channel's spectrum, so that a spectrogram is there when it is opened."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from skyglint.station.live import LiveMessage
from skyglint.web.recent import SPAN_S

#: Time of a column; each keeps the strongest of its readings.
STEP_S = 0.5
COLUMNS = round(SPAN_S / STEP_S)
#: Steps of a byte, from 0 dB over the bin's floor.
STEP_DB = 0.25

Bytes = NDArray[np.uint8]


def as_bytes(levels_db: NDArray[np.float32]) -> Bytes:
    """Return levels over the floor as bytes; what lies below the floor is 0."""
    return np.clip(np.round(np.nan_to_num(levels_db, nan=0.0) / STEP_DB), 0, 255).astype(np.uint8)


class RecentSpectra:
    """A ring of columns for each channel that has spectra."""

    def __init__(self) -> None:
        self._rings: dict[str, Bytes] = {}
        self._last = 0

    @property
    def end_unix(self) -> float:
        """End of the newest column."""
        return (self._last + 1) * STEP_S

    def take(self, message: LiveMessage) -> None:
        """Take in a message; one that jumps by more than the ring holds empties it."""
        column = math.floor(message.end_unix / STEP_S)
        ahead = column - self._last
        for ring in self._rings.values():
            if not 0 <= ahead < COLUMNS:
                ring[:] = 0
            else:
                ring[np.arange(self._last + 1, column + 1) % COLUMNS] = 0
        self._last = column
        for name, levels in message.spectra_db.items():
            if not len(levels):
                continue
            ring = self._rings.get(name, np.empty((0, 0), np.uint8))
            if ring.shape[1] != len(levels):
                ring = self._rings[name] = np.zeros((COLUMNS, len(levels)), np.uint8)
            place = column % COLUMNS
            np.maximum(ring[place], as_bytes(levels), out=ring[place])

    def columns(self, channel: str) -> Bytes | None:
        """Return a channel's columns, oldest first, shape (COLUMNS, n bins); None where there are none."""
        ring = self._rings.get(channel)
        return None if ring is None else np.roll(ring, -(self._last + 1) % COLUMNS, axis=0)
