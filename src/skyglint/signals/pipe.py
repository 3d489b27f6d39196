"""Samples from a pipe: raw or WAV, read once, forwards, with an end that nobody knows beforehand."""

from __future__ import annotations

from collections.abc import Iterator
from typing import BinaryIO

from skyglint.errors import SourceError
from skyglint.signals.band import said
from skyglint.signals.block import Block, Gap, SourceInfo
from skyglint.signals.captures import CUT_OFF, INCOMPLETE
from skyglint.signals.options import SourceOptions
from skyglint.signals.plausible import block_samples, cell_samples, lose_nonsense
from skyglint.signals.raw import raw_layout
from skyglint.signals.wav import origination_hint, wav_layout
from skyglint.signals.wav_header import is_wav, read_header


class Pipe:
    """Samples from a pipe, as a ``Source`` that can be read once.

    Parameters
    ----------
    file
        The pipe.
    name
        For people and messages.
    options
        A raw pipe needs encoding, rate, centre and start; a WAV pipe states encoding and rate.

    Raises
    ------
    RequestError
        If an option is missing.
    SourceError
        If the pipe is empty, or starts as a WAV file whose header cannot be read.
    """

    def __init__(self, file: BinaryIO, name: str, options: SourceOptions) -> None:
        self._file, self._name, self._spent = file, name, False
        self._ahead = b""
        self._ahead = self._read(16)
        if not self._ahead:
            raise SourceError(f"{name}: holds no samples")
        self._stated_bytes: int | None = None
        hint = ""
        if is_wav(self._ahead):
            header = read_header(self._read, name)
            self._layout, rate_hz = wav_layout(header, options, name)
            self._stated_bytes, hint = header.data_bytes, origination_hint(header)
        else:
            self._layout, rate_hz = raw_layout(None, options, name)
        band, start_unix = said(self._layout.encoding, rate_hz, options, name + hint)
        self._info = SourceInfo(
            name=name,
            fingerprint="",
            encoding=self._layout.encoding.name,
            sample_rate_hz=rate_hz,
            center_frequency_hz=band.center_hz,
            start_unix=start_unix,
            end_unix=float("nan"),
            band_low_hz=band.low_hz,
            band_high_hz=band.high_hz,
        )

    @property
    def info(self) -> SourceInfo:
        """What is known before reading."""
        return self._info

    def blocks(self, block_s: float = 0.1) -> Iterator[Block | Gap]:
        """Yield blocks of about ``block_s`` seconds as they come, until the pipe ends.

        Raises
        ------
        SourceError
            If the pipe fails, or was read before.
        """
        if self._spent:
            raise SourceError(f"{self._name}: a pipe can be read only once")
        self._spent = True
        rate_hz, encoding = self._info.sample_rate_hz, self._layout.encoding
        items = self._raw_blocks(block_samples(block_s, rate_hz, encoding))
        return lose_nonsense(items, cell_samples(rate_hz)) if encoding.dtype.kind == "f" else items

    def _raw_blocks(self, size: int) -> Iterator[Block | Gap]:
        info, stored_bytes = self._info, self._layout.stored_bytes
        done_bytes, wanted = 0, size * stored_bytes
        with self._file:
            while wanted:
                if self._stated_bytes is not None:
                    wanted = min(wanted, self._stated_bytes - done_bytes)
                data = self._read(wanted)
                values, index = self._layout.values(data), done_bytes // stored_bytes
                if len(values):
                    encoding, rate_hz = self._layout.encoding, info.sample_rate_hz
                    yield Block(values, encoding, 0, info.start_unix, index, rate_hz, info.center_frequency_hz)
                done_bytes += len(data)
                if len(data) < wanted:
                    break
        yield from self._end(done_bytes)

    def _end(self, done_bytes: int) -> Iterator[Gap]:
        n_samples, rest = divmod(done_bytes, self._layout.stored_bytes)
        stated = (self._stated_bytes or 0) // self._layout.stored_bytes
        start_unix, rate_hz = self._info.start_unix, self._info.sample_rate_hz
        if stated > n_samples:
            yield Gap(start_unix + n_samples / rate_hz, start_unix + stated / rate_hz, CUT_OFF)
        elif rest:
            yield Gap(start_unix + n_samples / rate_hz, start_unix + (n_samples + 1) / rate_hz, INCOMPLETE)

    def _read(self, n_bytes: int) -> bytes:
        """Read so many bytes, fewer only at the end."""
        data, self._ahead = self._ahead[:n_bytes], self._ahead[n_bytes:]
        pieces = [data]
        left = n_bytes - len(data)
        try:
            while left > 0 and (piece := self._file.read(left)):
                pieces.append(piece)
                left -= len(piece)
        except OSError as error:
            raise SourceError(f"{self._name}: reading failed: {error.strerror or error}") from error
        return pieces[1] if len(pieces) == 2 and not data else b"".join(pieces)
