"""Decibels in few bytes: quantised, with code 0 for "not measured", and compressed."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True)
class Scale:
    """An even scale of levels: code 1 is ``low_db``, each further code ``step_db`` more, code 0 is "not measured".

    Levels beyond the ends of the scale take the end's code.

    Attributes
    ----------
    low_db, step_db
        Lowest level and the step, dB.
    dtype
        Unsigned type of the codes, little-endian.
    """

    low_db: float
    step_db: float
    dtype: np.dtype[Any]

    @property
    def high_db(self) -> float:
        """Highest level of the scale."""
        return self.low_db + self.step_db * (np.iinfo(self.dtype).max - 1)

    def pack(self, level_db: ArrayLike) -> bytes:
        """Return the levels, shape (n,) or (n, m), as compressed codes; NaN becomes "not measured"."""
        level = np.asarray(level_db, dtype=np.float64)
        measured = np.clip(level, self.low_db, self.high_db)
        codes = np.rint((np.nan_to_num(measured, nan=self.low_db) - self.low_db) / self.step_db) + 1
        return zlib.compress(np.where(np.isnan(level), 0, codes).astype(self.dtype).tobytes(), 6)

    def unpack(self, data: bytes) -> NDArray[np.float32]:
        """Return the levels that ``pack`` was given, shape (n,), each within half a step; NaN where not measured."""
        codes = np.frombuffer(zlib.decompress(data), dtype=self.dtype)
        level = (self.low_db + self.step_db * (codes.astype(np.float64) - 1)).astype(np.float32)
        level[codes == 0] = np.nan
        return level


#: Power over the floor, -8 to 55.5 dB. Readings of noise lie within a decibel of 0 dB, the strongest echoes near 50 dB.
STRIP_SCALE = Scale(-8.0, 0.25, np.dtype("u1"))

#: Floors relative to full scale, -250 to 405 dB.
FLOOR_SCALE = Scale(-250.0, 0.01, np.dtype("<u2"))


def fit_scale(level_db: NDArray[Any]) -> Scale:
    """Return the 8-bit scale that just holds all finite levels, in steps of 1/253 of their range (at least 0.01 dB)."""
    finite = level_db[np.isfinite(level_db)]
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 0.0)
    return Scale(low, max((high - low) / 253, 0.01), np.dtype("u1"))
