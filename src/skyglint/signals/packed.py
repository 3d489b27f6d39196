"""Stored forms that NumPy has no type for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Turns the bytes of whole samples into raw values.
Unpack = Callable[[bytes], NDArray[Any]]


def unpack_24_bit(data: bytes) -> NDArray[np.int32]:
    """Return little-endian 24-bit integers as the upper three bytes of 32-bit ones; full scale stays full scale."""
    values = np.zeros((len(data) // 3, 4), dtype=np.uint8)
    values[:, 1:] = np.frombuffer(data, dtype=np.uint8).reshape(-1, 3)
    return values.reshape(-1).view("<i4")
