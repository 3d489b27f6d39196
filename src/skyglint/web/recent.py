"""The last minutes of every lane, as the live feed told them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from skyglint.report.thinning import thinned
from skyglint.station.live import LiveMessage

#: Time between readings, and how far back they reach.
STEP_S = 0.1
SPAN_S = 600.0
_SLOTS = round(SPAN_S / STEP_S)


class Recent:
    """A ring of readings, ten a second; where nothing was heard it holds NaN.

    Parameters
    ----------
    channels
        Names, one lane each.
    """

    def __init__(self, channels: Sequence[str]) -> None:
        self.channels = tuple(channels)
        self._levels = np.full((len(channels), _SLOTS), np.nan, dtype=np.float32)
        self._end = 0

    @property
    def end_unix(self) -> float:
        """End of the newest reading; 0 before the first."""
        return self._end * STEP_S

    def take(self, message: LiveMessage) -> None:
        """Take in a message; one that jumps by more than the ring holds empties it first."""
        end = round(message.end_unix / STEP_S)
        first = min(end - 1, round((message.end_unix - message.step_s) / STEP_S))
        self._move_to(end)
        slots = np.arange(max(first, end - _SLOTS), end) % _SLOTS
        for row, name in enumerate(self.channels):
            self._levels[row, slots] = message.power_db.get(name, math.nan)

    def fill(self, channel: str, start_unix: float, step_s: float, power_db: NDArray[np.float32]) -> None:
        """Fill the places that are still empty from stored readings, after a start."""
        if channel not in self.channels or not len(power_db):
            return
        row = self.channels.index(channel)
        wanted = np.arange(self._end - _SLOTS, self._end)
        index = np.floor(((wanted + 0.5) * STEP_S - start_unix) / step_s).astype(np.int64)
        inside = (index >= 0) & (index < len(power_db))
        slots = wanted[inside] % _SLOTS
        empty = np.isnan(self._levels[row, slots])
        self._levels[row, slots[empty]] = power_db[index[inside]][empty]

    def move_to(self, unix: float) -> None:
        """Let the newest reading end at a time; what was not heard until then stays empty."""
        self._move_to(round(unix / STEP_S))

    def columns(self, most: int) -> dict[str, NDArray[np.float32]]:
        """Return each lane from the oldest to the newest in at most that many columns, each the largest within it."""
        order = np.arange(self._end - _SLOTS, self._end) % _SLOTS
        return {name: thinned(self._levels[row, order], most, np.nanmax)[0] for row, name in enumerate(self.channels)}

    def _move_to(self, end: int) -> None:
        if end == self._end:
            return
        if not 0 < end - self._end < _SLOTS:
            # A clock that was set back, or a long silence: what is held belongs to another time.
            self._levels[:] = np.nan
        else:
            self._levels[:, np.arange(self._end, end) % _SLOTS] = np.nan
        self._end = end
