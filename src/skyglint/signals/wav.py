"""WAV recordings: two channels are I and Q, one channel is the audio of a receiver in single-sideband mode."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from skyglint.errors import SourceError
from skyglint.signals.encodings import ENCODINGS
from skyglint.signals.layout import Layout, unpack_24_bit
from skyglint.signals.options import RATE_HZ, SourceOptions, checked_number, settled
from skyglint.signals.recording import Recording, open_for_reading
from skyglint.signals.span import Span, open_span
from skyglint.signals.wav_header import WavHeader, read_header


def open_wav(path: Path, options: SourceOptions) -> Recording:
    """Open a WAV file; the user states its start, and its centre (two channels) or dial and sideband (one).

    A file whose header was never completed is used up to its end.

    Raises
    ------
    RequestError
        If the file is missing or may not be read, or an option is missing.
    SourceError
        If it is no WAV file, of a form that cannot be samples, or holds none.
    """
    where = str(path)
    with open_for_reading(path) as file:
        header = read_header(file.read, where)
        file_end = file.seek(0, 2)
    layout, rate_hz = wav_layout(header, options, where)
    there, stated = _extent(header, file_end)
    return open_span(path, Span(layout, header.data_offset, there, stated, rate_hz), options, origination_hint(header))


def wav_layout(header: WavHeader, options: SourceOptions, where: str) -> tuple[Layout, float]:
    """Return how the samples are written and their rate.

    Raises
    ------
    RequestError
        If an option contradicts the header.
    SourceError
        If the header states what cannot be.
    """
    if header.channels > 2:
        raise SourceError(f"{where}: has {header.channels} channels: expected 2 (I and Q) or 1 (audio)")
    letter = "c" if header.channels == 2 else "r"
    stated_hz = checked_number(header.sample_rate_hz, RATE_HZ, "sample rate", where)
    rate_hz = settled("its header", stated_hz, options.sample_rate_hz, "sample_rate_hz", where)
    if header.form == "i24_le":
        name = letter + "i32_le"
        layout = Layout(ENCODINGS[name], 3 * header.channels, unpack_24_bit)
    else:
        name = letter + header.form
        layout = Layout.plain(ENCODINGS[name])
    if header.form == "u8":
        # Unlike a converter's offset binary, the standard puts the midpoint of 8-bit WAV at 128.
        full_scale = 128.0 if header.channels == 2 else 64.0
        layout = Layout.plain(replace(layout.encoding, zero=128.0, full_scale=full_scale))
    settled("its header", name, options.encoding, "encoding", where)
    return layout, rate_hz


def origination_hint(header: WavHeader) -> str:
    """Return what the file says of its start that is not enough, for a message."""
    if not header.origination:
        return ""
    return f" (made {header.origination} says its bext chunk, in no stated time zone)"


def _extent(header: WavHeader, file_end: int) -> tuple[int, int]:
    """Return how many bytes of samples there are, and how many there should be."""
    to_the_end = file_end - header.data_offset
    stated = header.data_bytes
    if stated is None:
        # An honest 0 stands in a file as long as it says.
        return (0, 0) if file_end == header.file_bytes else (to_the_end, to_the_end)
    if file_end > 1 << 32 and stated < 1 << 32 and (to_the_end - stated) >> 32:
        # A 32-bit size that overflowed while the recorder went on.
        return to_the_end, to_the_end
    return min(stated, to_the_end), stated
