"""A spectrogram as a small picture: from paper at the floor to ink at the strongest, in any colour scheme.

The picture is a grey PNG that a page uses as a mask over its own ink, so that one picture serves light, dark and paper.
"""

from __future__ import annotations

import base64
import io

import numpy as np
from numpy.typing import NDArray

#: Steps of ink. Sixteen are more than the eye tells apart in noise, and fit four bits a pixel.
LEVELS = 16
#: The least that full ink stands for, so that plain noise stays pale.
LEAST_TOP_DB = 12.0


def ink_top_db(level_db: NDArray[np.floating]) -> float:
    """Return the level that full ink stands for: what one pixel in 200 passes, and at least ``LEAST_TOP_DB``."""
    known = level_db[np.isfinite(level_db)]
    return max(LEAST_TOP_DB, float(np.percentile(known, 99.5))) if known.size else LEAST_TOP_DB


def shrink(level_db: NDArray[np.floating], most_times: int, most_rows: int) -> NDArray[np.float64]:
    """Return the picture with at most that many times and rows, each the mean power of what it covers; NaN is left out.

    Parameters
    ----------
    level_db
        Bin power over the bin's own floor, shape (n, m), dB.
    """
    power = np.power(10.0, np.asarray(level_db, dtype=np.float64) / 10.0)
    power = _mean_of_groups(power, -(-power.shape[0] // most_times))
    power = _mean_of_groups(power.T, -(-power.shape[1] // most_rows)).T
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-30)))


def _mean_of_groups(values: NDArray[np.float64], size: int) -> NDArray[np.float64]:
    padded = np.pad(values, ((0, -len(values) % size), (0, 0)), constant_values=np.nan).reshape(
        -1, size, values.shape[1]
    )
    known = ~np.isnan(padded)
    count = known.sum(axis=1)
    total = np.where(known, padded, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def ink_png(level_db: NDArray[np.floating], top_db: float) -> bytes:
    """Return a PNG, white where there is full ink and black where there is none, the highest frequency at the top.

    Parameters
    ----------
    level_db
        Shape (n times, m rows rising in frequency), dB; NaN gives no ink.
    top_db
        Level of full ink; 0 dB gives none.
    """
    from PIL import Image

    share = np.nan_to_num(np.clip(level_db / top_db, 0.0, 1.0), nan=0.0)
    steps = np.round(share.T[::-1] * (LEVELS - 1)).astype(np.uint8)
    picture = Image.fromarray(steps, mode="P")
    grey = np.repeat(np.linspace(0, 255, LEVELS).round().astype(np.uint8), 3)
    picture.putpalette(grey.tobytes())
    buffer = io.BytesIO()
    picture.save(buffer, "PNG", optimize=True, bits=4)
    return buffer.getvalue()


def data_uri(png: bytes) -> str:
    """Return a PNG as the address that carries it."""
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")
