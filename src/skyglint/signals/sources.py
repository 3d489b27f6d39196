"""Opening whatever holds or delivers samples: the reader is chosen by the content, then by the name."""

from __future__ import annotations

import sys
from pathlib import Path

from skyglint.errors import RequestError
from skyglint.signals.block import Source
from skyglint.signals.options import SourceOptions
from skyglint.signals.pipe import Pipe
from skyglint.signals.raw import open_raw
from skyglint.signals.recording import Recording, open_for_reading
from skyglint.signals.sigmf_reader import ARCHIVE, DATA, META, describes, open_sigmf
from skyglint.signals.wav import open_wav
from skyglint.signals.wav_header import is_wav

WAV_EXTENSIONS = (".wav", ".wave", ".w64", ".rf64", ".bw64")


def open_source(address: str | Path, options: SourceOptions | None = None) -> Source:
    """Open a recording by its path, or a pipe.

    Parameters
    ----------
    address
        A recording: SigMF (metadata, data or archive), WAV or raw samples; a pipe's path, or ``-`` for
        standard input, with raw samples or WAV.
    options
        What the user says of it, where it does not say it itself.

    Raises
    ------
    RequestError
        If it is not there, or an option is missing or contradicts what it states.
    SourceError
        If it is there and cannot be used.
    """
    if str(address) == "-":
        return Pipe(sys.stdin.buffer, "standard input", options or SourceOptions())
    path = Path(address)
    try:
        if path.is_fifo():
            return Pipe(path.open("rb"), str(path), options or SourceOptions())
        return _open_recording(path, options or SourceOptions())
    except OSError as error:
        raise RequestError(f"{path}: cannot be read: {error.strerror or error}") from error


def _open_recording(path: Path, options: SourceOptions) -> Recording:
    if path.suffix in (META, DATA, ARCHIVE):
        return open_sigmf(path, options)
    with_sigmf = path.with_name(path.name + META)
    if not path.exists() and with_sigmf.exists():
        return open_sigmf(with_sigmf, options)
    with open_for_reading(path) as file:
        start = file.read(16)
    if is_wav(start) or path.suffix.lower() in WAV_EXTENSIONS:
        beside = path.with_suffix(META)
        return open_sigmf(beside, options) if describes(beside, path.name) else open_wav(path, options)
    return open_raw(path, options)
