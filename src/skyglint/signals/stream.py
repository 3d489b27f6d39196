"""A receiver whose samples come on standard input, from whatever program drives it: raw or with a WAV header."""

from __future__ import annotations

from typing import BinaryIO

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Encoding
from skyglint.signals.encodings import encoding_named
from skyglint.signals.live import EndOfSamples, Settings
from skyglint.signals.options import SourceOptions
from skyglint.signals.wav import wav_layout
from skyglint.signals.wav_header import WavHeader, is_wav, read_header

#: Bytes that tell a WAV header.
_START = 16


class Stream:
    """Samples as they come through a pipe, a ``Device``: timed by their arrival, as those of any receiver.

    Parameters
    ----------
    file, name
        The pipe, unbuffered, and what messages call it.
    settings
        As whoever sends the samples has made them.
    encoding
        SigMF datatype of the samples.

    Raises
    ------
    RequestError
        If there is no such datatype, a WAV header contradicts rate or datatype, or nothing comes.
    """

    def __init__(self, file: BinaryIO, name: str, settings: Settings, encoding: str) -> None:
        self._file, self.name, self.settings = file, name, settings
        self.encoding: Encoding = encoding_named(encoding)
        self._ahead = b""
        self._ahead = self._take(_START)
        if len(self._ahead) < _START:
            raise RequestError(f"{name}: ended before any sample came: expected samples from another program")
        if is_wav(self._ahead):
            self._agree(read_header(self._take, name))

    def open(self) -> None:
        """Nothing is to be opened: whoever sends the samples has made the settings."""

    def read_into(self, buffer: memoryview) -> int:
        """Wait for samples and return how many bytes came.

        Raises
        ------
        EndOfSamples
            If the pipe has ended.
        SourceError
            If it cannot be read.
        """
        data = self._ahead[: len(buffer)] or self._read(len(buffer))
        self._ahead = self._ahead[len(buffer) :]
        if not data:
            raise EndOfSamples
        buffer[: len(data)] = data
        return len(data)

    def close(self) -> None:
        """Leave the pipe open: what comes next is still wanted."""

    def _take(self, n_bytes: int) -> bytes:
        data, self._ahead = self._ahead[:n_bytes], self._ahead[n_bytes:]
        while len(data) < n_bytes and (piece := self._read(n_bytes - len(data))):
            data += piece
        return data

    def _read(self, n_bytes: int) -> bytes:
        try:
            return self._file.read(n_bytes)
        except OSError as error:
            raise SourceError(f"{self.name}: reading failed: {error.strerror or error}") from error

    def _agree(self, header: WavHeader) -> None:
        layout, rate_hz = wav_layout(header, SourceOptions(), self.name)
        name = layout.encoding.name
        if layout.unpack is not None or layout.encoding.components != 2:
            found = f"{header.channels} channel{'s' if header.channels > 1 else ''} of {header.form}"
            raise RequestError(f"{self.name}: its WAV header states {found}: expected 2, I and Q, of 8, 16 or 32 bits")
        if rate_hz != self.settings.sample_rate_hz:
            expected = f"sample_rate_hz = {self.settings.sample_rate_hz:.0f} as in the site file"
            raise RequestError(
                f"{self.name}: its WAV header states {rate_hz:.0f} samples a second: expected {expected}"
            )
        if name != self.encoding.name:
            raise RequestError(
                f"{self.name}: its WAV header states {name}: expected {self.encoding.name}; "
                f'write encoding = "{name}" into [receiver] of the site file'
            )
        self.encoding = layout.encoding
