"""Protection ratios: by how much a wanted FM signal must exceed an unwanted one, by their spacing.

These are figures of listening quality. For an echo listener they are a guide to how much of a neighbour comes through:
the more a neighbour may exceed the wanted signal, the less of it a receiver is expected to take.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Service = Literal["mono", "stereo"]
Interference = Literal["steady", "tropospheric"]

#: ITU-R BS.412-9 Table 3, 75 kHz deviation; figures from memory. Spacing in kHz, then mono steady and tropospheric,
#: stereo steady and tropospheric.
_BS412: Final = np.array(
    [
        (0, 36, 28, 45, 37),
        (25, 31, 27, 51, 43),
        (50, 24, 22, 51, 43),
        (100, 12, 12, 33, 25),
        (150, 8, 8, 18, 14),
        (200, 6, 6, 7, 7),
        (300, -7, -7, -7, -7),
        (400, -20, -20, -20, -20),
    ],
    dtype=np.float64,
)
_COLUMN: Final = {
    ("mono", "steady"): 1,
    ("mono", "tropospheric"): 2,
    ("stereo", "steady"): 3,
    ("stereo", "tropospheric"): 4,
}

#: 47 CFR 73.215(a)(2) and 73.509: wanted over unwanted at spacings of 0, 200, 400 and 600 kHz.
AMERICAN_DB: Final[dict[int, float]] = {0: 20.0, 200_000: 6.0, 400_000: -40.0, 600_000: -40.0}


def asked_db(spacing_hz: float, *, american: bool) -> float:
    """Return what the planning of a region asks at a spacing, NaN where it asks nothing.

    In the Americas 47 CFR 73.215 and 73.509; elsewhere ITU-R BS.412-9, mono against tropospheric interference.
    """
    if american:
        return AMERICAN_DB.get(round(abs(spacing_hz) / 100e3) * 100_000, float("nan"))
    return float(protection_ratio_db(spacing_hz))


def protection_ratio_db(
    spacing_hz: ArrayLike, service: Service = "mono", interference: Interference = "tropospheric"
) -> NDArray[np.float64]:
    """Return the protection ratio at spacings of 0 to 400 kHz (ITU-R BS.412-9 Table 3), NaN beyond.

    Examples
    --------
    >>> protection_ratio_db([0, 200e3, 400e3])
    array([ 28.,   6., -20.])
    """
    spacing = np.abs(np.asarray(spacing_hz, dtype=np.float64)) / 1e3
    ratio = np.interp(spacing, _BS412[:, 0], _BS412[:, _COLUMN[service, interference]])
    return np.where(spacing <= _BS412[-1, 0], ratio, np.nan)
