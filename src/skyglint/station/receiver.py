"""The receiver or recording that a site file names, opened."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from skyglint.errors import RequestError
from skyglint.signals.block import Source
from skyglint.signals.live import LiveSource, Settings
from skyglint.signals.options import SourceOptions
from skyglint.signals.sources import open_source
from skyglint.signals.stream import Stream
from skyglint.site import Site


def receiver_of(site: Site, folder: Path, gain_db: float | None = None) -> Source:
    """Open the site's receiver or recording.

    Parameters
    ----------
    site, folder
        The site, and the folder that a recording's path starts from.
    gain_db
        Gain to set; ``None`` takes the site file's (or the receiver's own control where that says ``auto``).

    Raises
    ------
    RequestError
        If the address cannot be one.
    SourceError
        If it cannot be opened.
    """
    receiver = site.receiver
    if receiver.source == "-":
        if sys.stdin.isatty():
            raise RequestError('source = "-": standard input is a terminal: expected samples piped into this command')
        # Unbuffered, so that an engine that starts anew goes on where the last one stopped.
        pipe = os.fdopen(os.dup(sys.stdin.fileno()), "rb", buffering=0)
        settings = Settings(receiver.center_frequency_hz, receiver.sample_rate_hz, None)
        stream = Stream(pipe, "standard input", settings, receiver.encoding)
        return LiveSource(stream, correction_ppm=receiver.correction_ppm, settle_s=0.0)
    if "://" not in receiver.source:
        return open_source(folder / receiver.source)
    if gain_db is None and receiver.gain_db != "auto":
        gain_db = float(receiver.gain_db)
    options = SourceOptions(
        sample_rate_hz=receiver.sample_rate_hz,
        center_frequency_hz=receiver.center_frequency_hz,
        gain_db=gain_db,
        correction_ppm=receiver.correction_ppm,
    )
    return open_source(receiver.source, options)
