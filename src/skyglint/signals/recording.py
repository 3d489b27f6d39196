"""A recording: stretches of raw samples in one file, streamed block by block in constant memory.

Samples are read, not mapped: a file that shrinks or a disk that fails while it is read then gives a message where a
mapping would kill the process, pages already used do not count as resident, and the speed is the same.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Block, Gap, SourceInfo
from skyglint.signals.layout import Layout
from skyglint.signals.options import UNIX
from skyglint.signals.plausible import block_samples, cell_samples, lose_nonsense, share_implausible

MEBIBYTE = 1 << 20
#: Samples looked at in one place, to tell a mislabelled file.
PROBE_SAMPLES = 1 << 14
#: Integers taken for floats give 0.18 to 1 of values that no receiver gives (tones, noise), floats none.
MISLABELLED_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Extent:
    """Samples that stand side by side in the file."""

    byte_offset: int
    n_samples: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """Samples without a break in time, frequency or rate, in one or more places of the file."""

    start_unix: float
    center_frequency_hz: float
    extents: tuple[Extent, ...]

    @property
    def n_samples(self) -> int:
        """Samples in all places together."""
        return sum(extent.n_samples for extent in self.extents)


class Recording:
    """Samples in a file, as a ``Source``.

    Parameters
    ----------
    path
        The file that holds the samples.
    info
        What the reader of the header found out.
    layout
        How they are written.
    parts
        Stretches and gaps, in order of time.
    """

    def __init__(self, path: Path, info: SourceInfo, layout: Layout, parts: Sequence[Stretch | Gap]) -> None:
        self._path = path
        self._info = info
        self._layout = layout
        self._parts = tuple(parts)
        if info.end_unix > UNIX[1]:
            raise SourceError(f"{path}: states an end after the year 2200: expected a smaller size or count of samples")
        if layout.encoding.dtype.kind == "f":
            self._refuse_mislabelled()

    @property
    def info(self) -> SourceInfo:
        """What is known before reading."""
        return self._info

    def blocks(self, block_s: float = 0.1) -> Iterator[Block | Gap]:
        """Yield blocks of about ``block_s`` seconds, and a ``Gap`` wherever samples are missing.

        Blocks of floats are a whole number of 10 ms cells long: a cell with a value that is no number (NaN, infinite,
        or beyond 1e12) is lost, and a ``Gap`` says so.

        Raises
        ------
        SourceError
            If the file cannot be read any further.
        """
        rate_hz, encoding = self._info.sample_rate_hz, self._layout.encoding
        items = self._raw_blocks(block_samples(block_s, rate_hz, encoding))
        return lose_nonsense(items, cell_samples(rate_hz)) if encoding.dtype.kind == "f" else items

    def span(self, start_unix: float, end_unix: float) -> list[Block]:
        """Return the samples of a span of time again, one block for each unbroken run; empty where there are none.

        Raises
        ------
        SourceError
            If the file cannot be read.
        """
        found: list[Block] = []
        number = 0
        try:
            with self._path.open("rb", buffering=0) as file:
                for part in self._parts:
                    if isinstance(part, Stretch):
                        found += self._span_of(file, part, number, start_unix, end_unix)
                        number += 1
        except OSError as error:
            raise SourceError(f"{self._path}: reading failed: {error.strerror or error}") from error
        return found

    def _span_of(
        self, file: BinaryIO, part: Stretch, number: int, start_unix: float, end_unix: float
    ) -> Iterator[Block]:
        rate_hz, done = self._info.sample_rate_hz, 0
        for extent in part.extents:
            length_s, begin_s = extent.n_samples / rate_hz, done / rate_hz
            first = round(min(max(start_unix - part.start_unix - begin_s, 0.0), length_s) * rate_hz)
            last = round(min(max(end_unix - part.start_unix - begin_s, 0.0), length_s) * rate_hz)
            if first < last:
                piece = Extent(extent.byte_offset + first * self._layout.stored_bytes, last - first)
                yield from self._extent_blocks(file, part, piece, last - first, number, done + first)
            done += extent.n_samples

    def _raw_blocks(self, size: int) -> Iterator[Block | Gap]:
        number = 0
        try:
            with self._path.open("rb", buffering=0) as file:
                for part in self._parts:
                    if isinstance(part, Gap):
                        yield part
                        continue
                    done = 0
                    for extent in part.extents:
                        for block in self._extent_blocks(file, part, extent, size, number, done):
                            yield block
                            done += block.n_samples
                    number += 1
                    if done < part.n_samples:
                        yield from self._cut_short(part, done)
                        return
        except OSError as error:
            raise SourceError(f"{self._path}: reading failed: {error.strerror or error}") from error

    def _extent_blocks(
        self, file: BinaryIO, part: Stretch, extent: Extent, size: int, number: int, done: int
    ) -> Iterator[Block]:
        file.seek(extent.byte_offset)
        for first in range(0, extent.n_samples, size):
            wanted = min(size, extent.n_samples - first)
            values = self._layout.values(file.read(wanted * self._layout.stored_bytes))
            block = Block(
                values,
                self._layout.encoding,
                number,
                part.start_unix,
                done + first,
                self._info.sample_rate_hz,
                part.center_frequency_hz,
            )
            if block.n_samples:
                yield block
            if block.n_samples < wanted:
                return

    def _cut_short(self, part: Stretch, done: int) -> Iterator[Gap]:
        end_unix = part.start_unix + done / self._info.sample_rate_hz
        yield Gap(end_unix, max(end_unix, self._info.end_unix), "file became shorter while it was read")

    def _refuse_mislabelled(self) -> None:
        """Look at the first extent's beginning, middle and end, for floats that are none anywhere."""
        extent = next((part.extents[0] for part in self._parts if isinstance(part, Stretch)), Extent(0, 0))
        size = min(extent.n_samples, PROBE_SAMPLES)
        shares = []
        with open_for_reading(self._path) as file:
            for first in (0, (extent.n_samples - size) // 2, extent.n_samples - size):
                file.seek(extent.byte_offset + first * self._layout.stored_bytes)
                shares.append(share_implausible(self._layout.values(file.read(size * self._layout.stored_bytes))))
        if min(shares) > MISLABELLED_SHARE:
            raise SourceError(
                f"{self._path}: does not hold {self._layout.encoding.name} samples: {min(shares):.0%} of the values "
                "looked at are no numbers, beyond 1e12 or below 1e-20; expected another encoding"
            )


def open_for_reading(path: Path) -> BinaryIO:
    """Open a file for unbuffered reading, or say why it cannot be.

    Raises
    ------
    RequestError
        If it is not there, is a folder, or may not be read.
    """
    try:
        return path.open("rb", buffering=0)
    except FileNotFoundError as error:
        raise RequestError(f"{path}: no such recording") from error
    except IsADirectoryError as error:
        raise RequestError(f"{path}: is a folder; expected a recording (a file)") from error
    except PermissionError as error:
        raise RequestError(f"{path}: may not be read: permission denied") from error
    except (OSError, ValueError) as error:
        raise RequestError(f"{path}: cannot be opened: {error}") from error


def fingerprint(path: Path, byte_offset: int, n_bytes: int, facts: Mapping[str, object]) -> str:
    """Return SHA-256 over what is known of a recording, its size, and its first and last MiB of samples.

    The name and the place of the file do not enter.
    """
    digest = hashlib.sha256(json.dumps([facts, n_bytes], sort_keys=True).encode())
    with open_for_reading(path) as file:
        for start in (0, max(0, n_bytes - MEBIBYTE)):
            file.seek(byte_offset + start)
            digest.update(file.read(min(MEBIBYTE, n_bytes)))
    return digest.hexdigest()
