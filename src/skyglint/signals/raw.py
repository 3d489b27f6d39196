"""Raw samples in a file without a header: the user says how they are written, their rate, centre and start."""

from __future__ import annotations

from pathlib import Path

from skyglint.signals.encodings import EXTENSIONS, encoding_named
from skyglint.signals.options import SourceOptions, require, settled
from skyglint.signals.recording import Layout, Recording, open_for_reading
from skyglint.signals.span import Span, open_span


def open_raw(path: Path, options: SourceOptions) -> Recording:
    """Open a raw file; its extension states the encoding where it is one of those that do (``.cu8``, ``.cf32``...).

    Raises
    ------
    RequestError
        If the file is missing or may not be read, or an option is missing.
    SourceError
        If it holds no samples.
    """
    with open_for_reading(path) as file:
        n_bytes = file.seek(0, 2)
    stated = EXTENSIONS.get(path.suffix.lower())
    keys = ["sample_rate_hz", "center_frequency_hz", "start_unix"]
    if stated is None and options.encoding is None:
        require(options, ["encoding", *keys], str(path))
    encoding = encoding_named(settled("the extension", stated, options.encoding, "encoding", str(path)))
    if encoding.components == 1:
        keys[1:2] = ["dial_frequency_hz", "sideband"]
    require(options, keys, str(path))
    rate_hz = settled("", None, options.sample_rate_hz, "sample_rate_hz", str(path))
    return open_span(path, Span(Layout.plain(encoding), 0, n_bytes, n_bytes, rate_hz), options)
