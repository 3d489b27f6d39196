"""How samples are written in a file or a pipe, and the raw values in a run of bytes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skyglint.signals.block import Encoding


@dataclass(frozen=True, slots=True)
class Layout:
    """How the samples of a file are written and where they stand.

    Attributes
    ----------
    encoding
        Of the values that blocks carry.
    stored_bytes
        Bytes of a sample in the file.
    unpack
        Turns the file's bytes into such values where the file's own form has no NumPy type; ``None`` for a view.
    """

    encoding: Encoding
    stored_bytes: int
    unpack: Callable[[bytes], NDArray[Any]] | None = None

    @classmethod
    def plain(cls, encoding: Encoding) -> Layout:
        """Return the layout of samples that stand in the file as they are."""
        return cls(encoding, encoding.bytes_per_sample)

    def values(self, data: bytes) -> NDArray[Any]:
        """Return the raw values of the whole samples in these bytes; a view where the stored form allows."""
        data = data[: len(data) - len(data) % self.stored_bytes]
        return self.unpack(data) if self.unpack else np.frombuffer(data, dtype=self.encoding.dtype)


def unpack_24_bit(data: bytes) -> NDArray[np.int32]:
    """Return little-endian 24-bit integers as the upper three bytes of 32-bit ones; full scale stays full scale."""
    # Read four bytes at every third one, from a byte before, and clear the one that is not ours: ten times as fast as
    # moving bytes.
    overlapping: NDArray[np.int32] = np.ndarray((len(data) // 3,), "<i4", b"\0" + data, 0, (3,))
    return overlapping & np.int32(-256)
